# mounted-from PATH NODE: PATH is a mount point, and what is mounted there is the device NODE.
# uses: real-node
verb_mounted_from() {
    v_path=${1%/}
    v_path=${v_path:-/}
    # -v leaves out a subvolume's name.
    if ! v_source=$(findmnt -nvo SOURCE --mountpoint "$v_path"); then
        printf '%s is not a mount point\n' "$v_path" >&2
        return 1
    fi
    # Names differ (by-partuuid, nvme0n1p5, dm-0), the device behind them does not.
    verb_real_node "$2" || return 1
    v_wanted=$v_real
    verb_real_node "$v_source" || return 1
    if [ "$v_real" != "$v_wanted" ]; then
        printf '%s is mounted from %s, not from %s (%s)\n' "$v_path" "$v_source" "$2" "$v_wanted" >&2
        return 1
    fi
}
