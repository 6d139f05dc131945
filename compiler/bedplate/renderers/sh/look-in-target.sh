# look-in-target WHERE PATH TYPE [SUBVOLUME]: mount the device there to look, read-only; a journal or log that was left open
# is not replayed, that would write: noload of ext4(5), norecovery of xfs(5), rescue=nologreplay of btrfs(5).
# uses: partition-node
verb_look_in_target() {
    verb_partition_node "$1" || return 1
    v_point=${2%/}
    [ "$v_point" != "$TARGET" ] || mkdir -p -- "$v_point" || return 1
    case $3 in
        ext3 | ext4) v_as=,noload ;;
        xfs) v_as=,norecovery ;;
        btrfs) v_as=,rescue=nologreplay ;;
        *) v_as= ;;
    esac
    mount -t "$3" -o "ro,nodev,nosuid$v_as${4:+,subvol=$4}" -- "$v_node" "$v_point" || return 1
}
