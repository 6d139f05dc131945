# may-format WHERE TYPE UUID: the device is not mounted and holds nothing, or only what is to be made there.
# uses: partition-node
verb_may_format() {
    v_node=$(verb_partition_node "$1") || return 1
    if [ ! -b "$v_node" ]; then
        printf 'there is no device %s\n' "$v_node" >&2
        return 1
    fi
    if findmnt -no TARGET --source "$v_node" >&2; then
        printf '%s is mounted there\n' "$v_node" >&2
        return 1
    fi
    v_type=$(blkid -p -o value -s TYPE -- "$v_node")
    v_status=$?
    [ "$v_status" -eq 2 ] && return 0
    v_uuid=$(blkid -p -o value -s UUID -- "$v_node")
    [ "$v_status:$v_type:$v_uuid" = "0:$2:$3" ] && return 0
    printf '%s holds something: type %s, UUID %s (blkid: %s)\n' "$v_node" "$v_type" "$v_uuid" "$v_status" >&2
    return 1
}
