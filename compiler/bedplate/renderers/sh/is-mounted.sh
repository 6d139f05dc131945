# is-mounted WHERE PATH [SUBVOLUME]: PATH is the mount point of that device (of that btrfs subvolume), and of nothing else.
# uses: partition-node
verb_is_mounted() {
    v_node=$(verb_partition_node "$1") || return 1
    v_node=$(readlink -f -- "$v_node") || return 1
    v_point=${2%/}
    v_source=$(findmnt -nro SOURCE --mountpoint "${v_point:-/}")
    v_real=$(readlink -f -- "${v_source%%\[*}")
    if [ "$v_real" = "$v_node" ] && { [ -z "${3-}" ] || [ "${v_source#"${v_source%%\[*}"}" = "[/$3]" ]; }; then
        return 0
    fi
    printf '%s: mounted there is %s, not %s\n' "$2" "${v_source:-nothing}" "$v_node" >&2
    return 1
}
