# may-format WHERE TYPE UUID: the device is not mounted and holds nothing, or only what is to be made there.
# uses: contents-read partition-node
verb_may_format() {
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
    # On a partition blkid finds at least its row in the table, so that only its words tell.
    case $v_status:$v_type:$v_inner in
        0:: | 2::) return 0 ;;
        "0:$2:") [ "$v_uuid" = "$3" ] && return 0 ;;
    esac
    printf '%s holds something: type %s, UUID %s, inner table %s (blkid: %s)\n' \
        "$v_node" "$v_type" "$v_uuid" "$v_inner" "$v_status" >&2
    return 1
}
