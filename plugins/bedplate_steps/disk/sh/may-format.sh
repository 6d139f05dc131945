# may-format WHERE TYPE UUID PARTUUID MARK: the row of the partition bears MARK, so that it was never finished; the device is
# not mounted, and blkid(8) and wipefs(8) see nothing on it, or only what is to be made there.
# uses: contents-read partition-node table-read table-row
verb_may_format() {
    verb_table_read && verb_table_row "$4" || return 1
    if [ "$v_row_name" != "$5" ]; then
        printf 'the partition %s is named "%s", not "%s": it is no unfinished one of ours\n' "$4" "$v_row_name" "$5" >&2
        return 1
    fi
    verb_partition_node "$1" || return 1
    if [ ! -b "$v_node" ]; then
        printf 'there is no device %s\n' "$v_node" >&2
        return 1
    fi
    if findmnt -no TARGET --source "$v_node" >&2; then
        printf '%s is mounted there\n' "$v_node" >&2
        return 1
    fi
    verb_contents_read "$v_node"
    v_marks=$(wipefs --parsable --noheadings --output TYPE,UUID -- "$v_node") || return 1
    v_strange=$(printf '%s\n' "$v_marks" | grep -Fvx -e '' -e "$2,$3")
    # On a partition blkid finds at least its row in the table, so that only its words tell.
    case $v_status:$v_type:$v_inner:$v_strange in
        0::: | 2:::) return 0 ;;
        "0:$2::") [ "$v_uuid" = "$3" ] && return 0 ;;
    esac
    printf '%s holds something: type %s, UUID %s, inner table %s (blkid: %s); signatures: %s\n' \
        "$v_node" "$v_type" "$v_uuid" "$v_inner" "$v_status" "$(printf '%s' "$v_strange" | tr '\n' ' ')" >&2
    return 1
}
