# drop-partition PARTUUID: delete this partition of the running machine's $DISK, and no other, where it is still what the
# change made and nothing uses it; else it is left.
# uses: clear-places leave mark-unfinished mend-table partition-is-idle partition-is-ours table-less table-read table-row
verb_drop_partition() {
    verb_mend_table || return 1
    verb_table_read || return 1
    verb_table_row "$1" 2>/dev/null || return 0
    if ! verb_partition_is_ours "$1" 2>"$WORK/not-ours" || ! verb_partition_is_idle "$1" 2>"$WORK/not-ours"; then
        verb_leave "the partition $v_row_node: $(cat "$WORK/not-ours")"
        return
    fi
    v_number=${v_row_node#"$DISK"} v_gone_start=$v_row_start v_gone_size=$v_row_size
    verb_mark_unfinished "$1" || return 1
    printf 'start=%s, size=%s, gone\n' "$v_gone_start" "$v_gone_size" | verb_clear_places || return 1
    verb_table_less "$WORK/table-rest" "$1" || return 1
    sfdisk --delete --no-reread --no-tell-kernel --lock=yes "$DISK" "${v_number#p}" || return 1
    TABLE_READ=
    verb_table_read || return 1
    cmp -s -- "$WORK/table" "$WORK/table-rest" || return 1
    partx --delete --nr "${v_number#p}" "$DISK"
}
