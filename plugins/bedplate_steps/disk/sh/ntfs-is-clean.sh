# ntfs-is-clean PARTUUID: the NTFS volume is not hibernated and was unmounted cleanly (ntfs-3g.probe(8)).
# uses: partition-node
verb_ntfs_is_clean() {
    verb_partition_node "$1" || return 1
    ntfs-3g.probe --readwrite "$v_node"
    v_status=$?
    case $v_status in
        0) return 0 ;;
        14) printf '%s: the other system is hibernated, or was shut down with fast start on\n' "$v_node" >&2 ;;
        15) printf '%s: the volume was not unmounted cleanly\n' "$v_node" >&2 ;;
        *) printf '%s: ntfs-3g.probe ended with %s\n' "$v_node" "$v_status" >&2 ;;
    esac
    return 1
}
