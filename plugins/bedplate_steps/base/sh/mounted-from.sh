# mounted-from PATH WHERE: PATH is a mount point, and what is mounted there is that partition of $DISK, or that node: no
# link by GUID, which a copied disk has too, and which would be compared with itself.
# uses: partition-node real-node
verb_mounted_from() {
    v_path=${1%/}
    v_path=${v_path:-/}
    # -v leaves out a subvolume's name.
    if ! v_source=$(findmnt -nvo SOURCE --mountpoint "$v_path"); then
        printf '%s is not a mount point\n' "$v_path" >&2
        return 1
    fi
    # Names differ (/dev/mapper/root, dm-0), the device behind them does not.
    verb_partition_node "$2" && verb_real_node "$v_node" || return 1
    v_wanted=$v_real
    verb_real_node "$v_source" || return 1
    if [ "$v_real" != "$v_wanted" ]; then
        printf '%s is mounted from %s, not from %s (%s)\n' "$v_path" "$v_source" "$2" "$v_wanted" >&2
        return 1
    fi
}
