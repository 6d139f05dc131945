# look-in-target WHERE PATH TYPE [SUBVOLUME]: mount the device there to look, read-only. A journal that a power cut left
# open is replayed, as at any mount.
# uses: partition-node
verb_look_in_target() {
    verb_partition_node "$1" || return 1
    v_point=${2%/}
    [ "$v_point" != "$TARGET" ] || mkdir -p -- "$v_point" || return 1
    mount -t "$3" -o "ro,nodev,nosuid${4:+,subvol=$4}" -- "$v_node" "$v_point" || return 1
}
