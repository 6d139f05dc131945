# mode-is PATH MODE OWNER: the file or folder exists with that octal mode and that owner (UID:GID).
verb_mode_is() {
    if [ ! -e "$1" ]; then
        printf '%s does not exist\n' "$1" >&2
        return 1
    fi
    v_found=$(stat -c '%a %u:%g' -- "$1") || return 1
    if [ "$v_found" != "$2 $3" ]; then
        printf '%s has mode and owner %s, not %s\n' "$1" "$v_found" "$2 $3" >&2
        return 1
    fi
}
