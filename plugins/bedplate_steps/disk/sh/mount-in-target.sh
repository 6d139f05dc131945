# mount-in-target WHERE PATH TYPE OPTIONS [SUBVOLUME]: mount the device there, unless it is mounted there already.
# uses: fat-ready gone-by-now is-mounted partition-node
verb_mount_in_target() {
    verb_is_mounted "$1" "$2" "${5-}" 2>/dev/null && return 0
    ! verb_gone_by_now "$1" || return 0
    v_point=${2%/}
    if findmnt -no SOURCE --mountpoint "$v_point" >&2; then
        printf '%s is taken by that\n' "$v_point" >&2
        return 1
    fi
    verb_partition_node "$1" || return 1
    if [ "$3" = vfat ] && ! findmnt -no TARGET --source "$v_node" >&2; then
        verb_fat_ready "$1" "$v_node" || return 1
        verb_partition_node "$1" || return 1
    fi
    mkdir -p -- "$v_point" || return 1
    mount -t "$3" -o "$4" -- "$v_node" "$v_point" || return 1
}
