# filesystem-is WHERE TYPE UUID LABEL: the device holds exactly that file system; an empty label is no label.
# uses: partition-node
verb_filesystem_is() {
    v_node=$(verb_partition_node "$1") || return 1
    v_type=$(blkid -p -o value -s TYPE -- "$v_node")
    v_status=$?
    v_uuid=$(blkid -p -o value -s UUID -- "$v_node")
    v_label=$(blkid -p -o value -s LABEL -- "$v_node")
    [ "$v_status:$v_type:$v_uuid:$v_label" = "0:$2:$3:$4" ] && return 0
    printf '%s holds: type %s, UUID %s, label %s (blkid: %s)\n' "$v_node" "$v_type" "$v_uuid" "$v_label" "$v_status" >&2
    return 1
}
