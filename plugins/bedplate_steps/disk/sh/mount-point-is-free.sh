# mount-point-is-free WHERE PATH [SUBVOLUME]: nothing is mounted at PATH but that device (that btrfs subvolume of it).
# uses: is-mounted
verb_mount_point_is_free() {
    v_there=$(findmnt -nro SOURCE,FSTYPE --mountpoint "${2%/}") || return 0
    verb_is_mounted "$1" "$2" "${3-}" 2>/dev/null && return 0
    printf '%s is taken: mounted there is %s\n' "${2%/}" "$v_there" >&2
    return 1
}
