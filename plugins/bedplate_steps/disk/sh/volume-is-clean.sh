# volume-is-clean PARTUUID TYPE: the kept file system has no open journal, log or log tree (ext2 to ext4, xfs, btrfs).
# Places: Documentation/filesystems/ext4 (s_state, and "recover" of s_feature_incompat), and the on-disk format of
# btrfs (log_root). The log of xfs is read by xfs_logprint(8).
# uses: partition-node
verb_volume_is_clean() {
    verb_partition_node "$1" || return 1
    case $2 in
        ext2 | ext3 | ext4)
            verb_volume_magic 1080 2 53ef && v_state=$(verb_volume_number 1082 2) &&
                v_needs=$(verb_volume_number 1120 4) && [ "$v_state" = 1 ] && [ $((v_needs & 4)) = 0 ] && return 0
            ;;
        btrfs)
            verb_volume_magic 65600 8 5f42485266535f4d && v_needs=$(verb_volume_number 65632 8) &&
                [ "$v_needs" = 0 ] && return 0
            ;;
        xfs)
            xfs_logprint -t "$v_node" >"$WORK/log-state" 2>&1 && grep -q 'state: <CLEAN>' "$WORK/log-state" && return 0
            ;;
    esac
    printf '%s (%s) is not clean, or nobody can tell: its system sleeps, crashed, or was switched off while it ran\n' \
        "$v_node" "$2" >&2
    return 1
}

# verb_volume_number OFFSET BYTES: print the number there.
verb_volume_number() {
    v_number=$(od -An -t "u$2" -j "$1" -N "$2" "$v_node") || return 1
    v_number=${v_number##* }
    [ -n "$v_number" ] && printf '%s\n' "$v_number"
}

verb_volume_magic() {
    v_bytes=$(od -An -v -tx1 -j "$1" -N "$2" "$v_node" | tr -d ' \n') && [ "$v_bytes" = "$3" ]
}
