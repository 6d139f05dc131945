# drop-partition PARTUUID: delete this partition of the running machine's $DISK, and no other; it must not be in use.
# uses: mend-table table-less table-read table-row
verb_drop_partition() {
    verb_mend_table || return 1
    verb_table_read || return 1
    verb_table_row "$1" 2>/dev/null || return 0
    if [ -n "$(lsblk -nro MOUNTPOINT "$v_row_node" 2>/dev/null | tr -d '\n')" ]; then
        printf '%s is in use\n' "$v_row_node" >&2
        return 1
    fi
    v_number=${v_row_node#"$DISK"}
    verb_table_less "$WORK/table-rest" "$1" || return 1
    sfdisk --delete --no-reread --no-tell-kernel --lock=yes "$DISK" "${v_number#p}" || return 1
    TABLE_READ=
    verb_table_read || return 1
    cmp -s -- "$WORK/table" "$WORK/table-rest" || return 1
    partx --delete --nr "${v_number#p}" "$DISK" || return 1
}
