# grow-filesystem WHERE TYPE PATH: the file system on the device, mounted at PATH, fills it.
# uses: partition-node
verb_grow_filesystem() {
    verb_partition_node "$1" || return 1
    case $2 in
        ext4) resize2fs "$v_node" || return 1 ;;
        xfs) xfs_growfs "$3" || return 1 ;;
        btrfs) btrfs filesystem resize max "$3" || return 1 ;;
        *) return 1 ;;
    esac
}
