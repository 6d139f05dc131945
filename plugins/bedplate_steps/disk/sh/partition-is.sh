# partition-is PARTUUID START SIZE TYPE [NAME]: the partition of $DISK lies there, in sectors, with that type (and name).
# uses: table-read table-row
verb_partition_is() {
    verb_table_read || return 1
    verb_table_row "$1" || return 1
    if [ "$v_row_start $v_row_size $v_row_type" != "$2 $3 $4" ]; then
        printf 'partition %s: start %s, size %s, type %s; planned: start %s, size %s, type %s\n' \
            "$1" "$v_row_start" "$v_row_size" "$v_row_type" "$2" "$3" "$4" >&2
        return 1
    fi
    [ $# -lt 5 ] && return 0
    case $v_row_rest in
        ", name=\"$5\"" | ", name=\"$5\", attrs="*) return 0 ;;
    esac
    printf 'partition %s is not named %s, it has: %s\n' "$1" "$5" "$v_row_rest" >&2
    return 1
}
