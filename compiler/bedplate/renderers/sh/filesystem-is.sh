# filesystem-is WHERE TYPE UUID LABEL: the device holds exactly that file system; an empty label is no label.
# uses: contents-read partition-node
verb_filesystem_is() {
    verb_partition_node "$1" || return 1
    verb_contents_read "$v_node"
    case $v_label in
        *[!A-Za-z0-9_.-]*) v_label=$(blkid -p -o value -s LABEL -- "$v_node") ;;
    esac
    [ "$v_status:$v_type:$v_uuid:$v_label" = "0:$2:$3:$4" ] && return 0
    printf '%s holds: type %s, UUID %s, label %s (blkid: %s)\n' "$v_node" "$v_type" "$v_uuid" "$v_label" "$v_status" >&2
    return 1
}
