# swap-place-is-free PATH: nothing has that name, not even a link that leads nowhere.
verb_swap_place_is_free() {
    [ -e "$1" ] || [ -L "$1" ] || return 0
    printf '%s is there already: %s; it is not replaced\n' "$1" "$(stat -c '%F, %s bytes, last written %y' -- "$1")" >&2
    return 1
}
