# file-is PATH MODE (content on standard input): the file holds exactly that content and has that octal mode.
verb_file_is() {
    if [ -L "$1" ] || [ ! -f "$1" ]; then
        printf '%s is not a plain file\n' "$1" >&2
        return 1
    fi
    # Two lines: the checksum of the standard input, then that of the file; a backslash stands before an odd name's.
    v_sums=$(sha256sum -- - "$1") || return 1
    v_have=${v_sums#*"  -"?}
    v_have=${v_have#\\}
    if [ "${v_sums%% *}" != "${v_have%% *}" ]; then
        printf '%s holds something else than planned\n' "$1" >&2
        return 1
    fi
    v_mode=$(stat -c %a -- "$1") || return 1
    if [ "$v_mode" != "$2" ]; then
        printf '%s has mode %s, not %s\n' "$1" "$v_mode" "$2" >&2
        return 1
    fi
}
