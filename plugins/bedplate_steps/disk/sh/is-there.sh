# is-there PATH: the file is there and not empty.
verb_is_there() {
    [ -s "$1" ] && return 0
    printf '%s is missing or empty\n' "$1" >&2
    return 1
}
