# copies-reread FOLDER: every file of the copies in FOLDER is what its digest says, read from the stick itself: what the
# kernel has of it in memory is let go first, by mounting anew or, where somebody else has mounted it, file by file (dd(1)).
# uses: copies-are-whole
verb_copies_reread() {
    if [ -n "$COPIES_MINE" ]; then
        close_copies && open_copies "$COPIES_NODE" ro || return 1
    else
        for v_file in "$1"/*; do
            dd if="$v_file" iflag=nocache count=0 2>/dev/null
        done
    fi
    verb_copies_are_whole "$1"
}
