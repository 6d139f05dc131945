# point-is-free PATH WHERE: PATH is not there, is an empty folder, or has that device mounted already.
# uses: is-mounted
verb_point_is_free() {
    [ -e "$1" ] || return 0
    if [ -d "$1" ] && [ -z "$(ls -A -- "$1")" ]; then
        return 0
    fi
    verb_is_mounted "$2" "$1" 2>/dev/null && return 0
    printf '%s is not empty\n' "$1" >&2
    return 1
}
