# esp-look WHERE COMMAND...: run COMMAND inside the EFI system partition there, mounted read-only for the look unless it
# is mounted already. Nothing on it changes: FAT has no journal, and the driver sets the mark of a mounted volume only where
# it may write (Linux, fs/fat/inode.c, fat_set_state).
# uses: partition-node
verb_esp_look() {
    verb_partition_node "$1" && v_node=$(readlink -f -- "$v_node") || return 1
    shift
    if [ ! -b "$v_node" ]; then
        printf 'there is no partition %s\n' "$v_node" >&2
        return 1
    fi
    v_point=$(findmnt -nfo TARGET --source "$v_node")
    v_mine=
    if [ -z "$v_point" ]; then
        v_point=$WORK/esp v_mine=1
        mkdir -p -- "$v_point" || return 1
        mount -t vfat -o ro,nodev,nosuid,noexec -- "$v_node" "$v_point" || return 1
    fi
    (cd -- "$v_point" && "$@")
    v_status=$?
    [ -z "$v_mine" ] || umount -- "$v_point" || return 1
    return "$v_status"
}
