# delete-partitions PARTUUID...: delete these partitions of $DISK, found by unique GUID, and no others.
# uses: table-read table-row
verb_delete_partitions() {
    verb_table_read || return 1
    v_numbers=
    for v_uuid in "$@"; do
        verb_table_row "$v_uuid" 2>/dev/null || continue
        v_number=${v_row_node#"$DISK"}
        v_numbers="$v_numbers ${v_number#p}"
    done
    [ -n "$v_numbers" ] || return 0
    # shellcheck disable=SC2086 # numbers, one word each
    sfdisk --delete --lock=yes "$DISK" $v_numbers || return 1
}
