# make-subvolumes WHERE NAME...: make the btrfs subvolumes that are not there yet, at the top of the volume.
# uses: partition-node
verb_make_subvolumes() {
    verb_partition_node "$1" || return 1
    shift
    mkdir -p -- "$WORK/top" || return 1
    mount -t btrfs -o subvolid=5 -- "$v_node" "$WORK/top" || return 1
    v_status=0
    for v_name in "$@"; do
        [ -d "$WORK/top/$v_name" ] || btrfs subvolume create "$WORK/top/$v_name" || v_status=1
    done
    umount -- "$WORK/top" || return 1
    rmdir -- "$WORK/top" || return 1
    return "$v_status"
}
