# base-mark: note on the target's own disk that its base is unfinished, before anything of it is written.
verb_base_mark() {
    : >"$TARGET/.base-unfinished" || return 1
    sync || return 1
}
