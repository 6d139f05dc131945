# partition-ends-by PARTUUID START SIZE TYPE: the partition of $DISK begins there, has that type and at most that size.
# uses: table-read table-row
verb_partition_ends_by() {
    verb_table_read || return 1
    verb_table_row "$1" || return 1
    if [ "$v_row_start $v_row_type" = "$2 $4" ] && [ "$v_row_size" -le "$3" ]; then
        return 0
    fi
    printf 'partition %s: start %s, size %s, type %s; planned: start %s, size at most %s, type %s\n' \
        "$1" "$v_row_start" "$v_row_size" "$v_row_type" "$2" "$3" "$4" >&2
    return 1
}
