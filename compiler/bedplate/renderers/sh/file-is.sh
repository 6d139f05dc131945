# file-is PATH MODE (content on standard input): the file holds exactly that content and has that octal mode.
verb_file_is() {
    if [ -L "$1" ] || [ ! -f "$1" ]; then
        printf '%s is not a plain file\n' "$1" >&2
        return 1
    fi
    v_want=$(sha256sum) || return 1
    v_have=$(sha256sum <"$1") || return 1
    if [ "$v_have" != "$v_want" ]; then
        printf '%s holds something else than planned\n' "$1" >&2
        return 1
    fi
    v_mode=$(stat -c %a -- "$1") || return 1
    if [ "$v_mode" != "$2" ]; then
        printf '%s has mode %s, not %s\n' "$1" "$v_mode" "$2" >&2
        return 1
    fi
}
