# base-done: take the mark of an unfinished base away, once all that was written is on the disk.
verb_base_done() {
    sync || return 1
    rm -f "$TARGET/.base-unfinished" || return 1
    sync || return 1
}
