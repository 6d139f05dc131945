# mend-fat NODE: after a power cut a FAT file system is marked as not unmounted and may hold lost clusters: then, and
# only then, it is mended. Other faults are told and left alone (fsck.fat(8)).
verb_mend_fat() {
    fsck.fat -n "$1" >"$WORK/fat" && return 0
    cat "$WORK/fat"
    if grep -qi 'dirty bit' "$WORK/fat"; then
        say '    The EFI system partition was not unmounted cleanly; its file system is mended.'
        fsck.fat -a "$1"
        fsck.fat -n "$1" >"$WORK/fat" && return 0
        cat "$WORK/fat"
    fi
    say "    The file system check of the EFI system partition ($1) found faults; the log names them."
}
