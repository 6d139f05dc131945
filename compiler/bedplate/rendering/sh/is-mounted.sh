# is-mounted WHERE PATH [SUBVOLUME]: PATH is the mount point of that device (of that btrfs subvolume), and of nothing else.
# uses: partition-node real-node
verb_is_mounted() {
    verb_partition_node "$1" || return 1
    verb_real_node "$v_node" || return 1
    v_node=$v_real
    v_point=${2%/}
    v_source=$(findmnt -nro SOURCE --mountpoint "${v_point:-/}")
    verb_real_node "${v_source%%\[*}"
    if [ "$v_real" = "$v_node" ] && { [ -z "${3-}" ] || [ "${v_source#"${v_source%%\[*}"}" = "[/$3]" ]; }; then
        return 0
    fi
    printf '%s: mounted there is %s, not %s\n' "$2" "${v_source:-nothing}" "$v_node" >&2
    return 1
}
