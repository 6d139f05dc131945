# esp-look NODE COMMAND...: run COMMAND inside the EFI system partition on NODE, mounted read-only for the look unless it
# is mounted already. Nothing on it changes: FAT has no journal, and the driver sets the mark of a mounted volume only where
# it may write (Linux, fs/fat/inode.c, fat_set_state).
verb_esp_look() {
    v_node=$(readlink -f -- "$1") || return 1
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
