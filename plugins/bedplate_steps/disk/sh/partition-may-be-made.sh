# partition-may-be-made PARTUUID START SIZE TYPE: $DISK has no such partition yet, or exactly this one.
# uses: table-dump table-row
verb_partition_may_be_made() {
    verb_table_dump || return 0
    verb_table_row "$1" 2>/dev/null || return 0
    [ "$v_row_start $v_row_size $v_row_type" = "$2 $3 $4" ] && return 0
    printf 'partition %s is there with start %s, size %s, type %s; planned: start %s, size %s, type %s\n' \
        "$1" "$v_row_start" "$v_row_size" "$v_row_type" "$2" "$3" "$4" >&2
    return 1
}
