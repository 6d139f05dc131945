# grow-partition PARTUUID START SIZE: the partition of the running machine's $DISK, which begins at START, gets SIZE
# sectors, never fewer than it has; every other row is as it was. The kernel learns the new end of it while it is in use.
# uses: mend-table table-keeps table-less table-read table-row
verb_grow_partition() {
    verb_mend_table || return 1
    verb_table_read || return 1
    verb_table_row "$1" || return 1
    if [ "$v_row_start" != "$2" ] || [ "$v_row_size" -gt "$3" ]; then
        printf 'the partition lies at %s, %s sectors long; it cannot become %s sectors at %s\n' \
            "$v_row_start" "$v_row_size" "$3" "$2" >&2
        return 1
    fi
    v_number=${v_row_node#"$DISK"} v_number=${v_number#p}
    verb_table_less "$WORK/table-had" "$1" || return 1
    if [ "$v_row_size" -lt "$3" ]; then
        printf ',%s\n' "$3" >"$WORK/row" || return 1
        sfdisk --no-reread --no-tell-kernel --lock=yes -N "$v_number" "$DISK" <"$WORK/row" || return 1
        TABLE_READ=
    fi
    verb_table_keeps || return 1
    partx --update --nr "$v_number" "$DISK" || return 1
}
