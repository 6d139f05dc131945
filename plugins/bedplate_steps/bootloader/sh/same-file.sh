# same-file PATH PATH: both files exist and are equal, byte for byte.
verb_same_file() {
    cmp -s -- "$1" "$2" && return 0
    printf '%s and %s differ, or one is missing\n' "$1" "$2" >&2
    return 1
}
