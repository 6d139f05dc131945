# make-filesystem WHERE TYPE UUID LABEL: make a file system (or swap area) on the device and write it out.
# uses: partition-node
verb_make_filesystem() {
    v_node=$(verb_partition_node "$1") || return 1
    case $2 in
        ext4) mkfs.ext4 -q -F -U "$3" ${4:+-L "$4"} "$v_node" || return 1 ;;
        xfs) mkfs.xfs -q -f -m "uuid=$3" ${4:+-L "$4"} "$v_node" || return 1 ;;
        btrfs) mkfs.btrfs -q -f -U "$3" ${4:+-L "$4"} "$v_node" || return 1 ;;
        # The size of a FAT is always asked for: left to itself, mkfs.fat makes FAT16 below 512 MiB.
        vfat) mkfs.fat -F 32 -i "${3%-*}${3#*-}" ${4:+-n "$4"} "$v_node" || return 1 ;;
        swap) mkswap -U "$3" ${4:+-L "$4"} "$v_node" || return 1 ;;
        *) return 1 ;;
    esac
    sync
}
