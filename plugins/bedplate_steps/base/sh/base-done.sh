# base-done: once all that was written is on the disk, note that the base is whole, and take the mark of an unfinished one
# away. The note says whose the target is when a power cut comes before the action's stamp.
verb_base_done() {
    sync || return 1
    mkdir -p -- "$TARGET/var/lib/bedplate" || return 1
    : >"$TARGET/var/lib/bedplate/base-unpacked" || return 1
    sync || return 1
    rm -f "$TARGET/.base-unfinished" || return 1
    sync || return 1
}
