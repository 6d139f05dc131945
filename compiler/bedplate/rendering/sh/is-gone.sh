# is-gone PATH: nothing is there, not even a link that points nowhere.
verb_is_gone() {
    if [ -e "$1" ] || [ -L "$1" ]; then
        printf '%s is still there\n' "$1" >&2
        return 1
    fi
}
