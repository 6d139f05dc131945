# partition-holds PARTUUID TYPE UUID: that partition still holds the file system that the survey saw.
# uses: contents-read partition-node
verb_partition_holds() {
    verb_partition_node "$1" || return 1
    verb_contents_read "$v_node"
    [ "$v_status:$v_type:$v_uuid" = "0:$2:$3" ] && return 0
    printf '%s holds: type %s, UUID %s (blkid: %s)\n' "$v_node" "$v_type" "$v_uuid" "$v_status" >&2
    return 1
}
