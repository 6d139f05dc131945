# made-after FILE OTHER: FILE was written after OTHER.
verb_made_after() {
    [ -n "$(find "$1" -newer "$2" 2>/dev/null)" ] && return 0
    printf '%s is older than %s\n' "$1" "$2" >&2
    return 1
}
