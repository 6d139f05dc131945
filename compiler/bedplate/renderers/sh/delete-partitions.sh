# delete-partitions PARTUUID...: delete these partitions of $DISK, found by unique GUID, and no others; every other row
# is as it was afterwards.
# uses: mend-table table-less table-read table-row
verb_delete_partitions() {
    verb_mend_table || return 1
    verb_table_read || return 1
    v_numbers=
    for v_uuid in "$@"; do
        verb_table_row "$v_uuid" 2>/dev/null || continue
        v_number=${v_row_node#"$DISK"}
        v_numbers="$v_numbers ${v_number#p}"
    done
    [ -n "$v_numbers" ] || return 0
    verb_table_less "$WORK/rest" "$@" || return 1
    # shellcheck disable=SC2086 # numbers, one word each
    sfdisk --delete --lock=yes "$DISK" $v_numbers || return 1
    TABLE_READ=
    verb_table_read || return 1
    cmp -s -- "$WORK/table" "$WORK/rest" && return 0
    printf 'another row of the table has changed as well; it is now:\n' >&2
    cat "$WORK/table" >&2
    return 1
}
