# text-is PATH (content on standard input): the file holds exactly that content; for FAT, where the mount sets the mode.
verb_text_is() {
    cat >"$WORK/text" || return 1
    cmp -s -- "$WORK/text" "$1" && return 0
    printf '%s is missing, or holds something else than planned\n' "$1" >&2
    return 1
}
