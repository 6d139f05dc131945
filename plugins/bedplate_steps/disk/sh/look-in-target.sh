# look-in-target WHERE PATH TYPE [SUBVOLUME]: mount the device there to look, read-only; not one byte of it changes. No open
# journal or log is replayed: noload of ext4(5), norecovery of xfs(5), rescue=nologreplay of btrfs(5). While it is being
# mounted the device cannot be written either (blockdev(8)): ext4 clears its list of deleted open files even then.
# uses: gone-by-now partition-node
verb_look_in_target() {
    ! verb_gone_by_now "$1" || return 0
    verb_partition_node "$1" || return 1
    v_point=${2%/}
    [ "$v_point" != "$TARGET" ] || mkdir -p -- "$v_point" || return 1
    case $3 in
        ext3 | ext4) v_as=,noload ;;
        xfs) v_as=,norecovery ;;
        btrfs) v_as=,rescue=nologreplay ;;
        *) v_as= ;;
    esac
    blockdev --setro "$v_node" || return 1
    mount -t "$3" -o "ro,nodev,nosuid$v_as${4:+,subvol=$4}" -- "$v_node" "$v_point"
    v_status=$?
    blockdev --setrw "$v_node" && [ "$v_status" -eq 0 ]
}
