# leave TEXT: something is not, or no longer, what this script made. It is left as it is, and listed at the end of --undo.
verb_leave() {
    printf '%s\n' "$1" >>"$WORK/left" || return 1
    printf 'left: %s\n' "$1" >&2
}
