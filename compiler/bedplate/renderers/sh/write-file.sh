# write-file PATH MODE OWNER (content on standard input): write beside the place, then rename; folders above are made.
# uses: own-folder
verb_write_file() {
    verb_own_folder "$1" || return 1
    v_new=$(mktemp "$v_folder/.bedplate.XXXXXX") || return 1
    if cat >"$v_new" && chown "$3" "$v_new" && chmod "$2" "$v_new" && sync "$v_new" && mv -fT -- "$v_new" "$1"; then
        return 0
    fi
    rm -f -- "$v_new"
    printf 'could not write %s\n' "$1" >&2
    return 1
}
