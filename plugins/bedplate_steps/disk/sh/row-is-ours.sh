# row-is-ours PARTUUID NAME...: $DISK has no such partition yet, or its row has one of these names.
# uses: table-dump table-row
verb_row_is_ours() {
    verb_table_dump && verb_table_row "$1" 2>/dev/null || return 0
    shift
    for v_name in "$@"; do
        [ "$v_row_name" != "$v_name" ] || return 0
    done
    printf '%s is named "%s", not "%s"\n' "$v_row_node" "$v_row_name" "$v_name" >&2
    return 1
}
