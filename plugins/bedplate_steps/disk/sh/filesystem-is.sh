# filesystem-is WHERE TYPE UUID LABEL: the device holds exactly that file system; an empty label is no label, and a FAT is
# a FAT32: some firmware reads no other on a disk.
# uses: contents-read partition-node
verb_filesystem_is() {
    verb_partition_node "$1" || return 1
    verb_contents_read "$v_node"
    case $v_label in
        *[!A-Za-z0-9_.-]*) v_label=$(blkid -p -o value -s LABEL -- "$v_node") ;;
    esac
    case $v_status:$v_type:$v_version:$v_uuid:$v_label in
        "0:vfat:FAT32:$3:$4") [ "$2" != vfat ] || return 0 ;;
        0:vfat:*) ;;
        "0:$2:$v_version:$3:$4") return 0 ;;
    esac
    printf '%s holds: type %s, version %s, UUID %s, label %s (blkid: %s)\n' \
        "$v_node" "$v_type" "$v_version" "$v_uuid" "$v_label" "$v_status" >&2
    return 1
}
