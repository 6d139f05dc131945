# link-is PATH TO: the symbolic link points to TO, literally.
verb_link_is() {
    if [ ! -L "$1" ]; then
        printf '%s is not a symbolic link\n' "$1" >&2
        return 1
    fi
    v_to=$(readlink -- "$1") || return 1
    if [ "$v_to" != "$2" ]; then
        printf '%s points to %s, not to %s\n' "$1" "$v_to" "$2" >&2
        return 1
    fi
}
