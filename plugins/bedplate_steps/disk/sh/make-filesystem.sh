# make-filesystem WHERE TYPE UUID LABEL: make a file system (or swap area) on the device and write it out. It gets its
# label last, once all of it is on the disk: after a power cut, one without the planned label is made again.
# uses: mkfs-words partition-node
verb_make_filesystem() {
    verb_partition_node "$1" || return 1
    verb_mkfs_words "$2"
    # shellcheck disable=SC2086 # options, one word each
    case $2 in
        ext4) mkfs.ext4 -q -F $v_words -U "$3" -L unfinished "$v_node" || return 1 ;;
        xfs) mkfs.xfs -q -f $v_words -m "uuid=$3" -L unfinished "$v_node" || return 1 ;;
        btrfs)
            # It makes no second one of a UUID, and takes what an earlier run was cut off in for the first.
            wipefs --all --quiet -- "$v_node" &&
                mkfs.btrfs -q -f $v_words -U "$3" -L unfinished "$v_node" || return 1
            ;;
        # The size of a FAT is always asked for: left to itself, mkfs.fat makes FAT16 below 512 MiB.
        vfat) mkfs.fat -F 32 -i "${3%-*}${3#*-}" -n UNFINISHED "$v_node" || return 1 ;;
        swap) mkswap -U "$3" -L unfinished "$v_node" || return 1 ;;
        *) return 1 ;;
    esac
    sync
    case $2 in
        ext4) e2label "$v_node" "$4" || return 1 ;;
        # xfs_admin(8): two dashes stand for no label.
        xfs) xfs_admin -L "${4:---}" "$v_node" || return 1 ;;
        btrfs) btrfs filesystem label "$v_node" "$4" || return 1 ;;
        vfat)
            if [ -n "$4" ]; then
                fatlabel "$v_node" "$4" || return 1
            else
                fatlabel --reset "$v_node" || return 1
            fi
            ;;
        swap) swaplabel -L "$4" "$v_node" || return 1 ;;
    esac
    sync
}
