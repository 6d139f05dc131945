# mounts-below: prints every mount point below the target, one a line, parents first.
verb_mounts_below() {
    # The fifth field of proc_pid_mountinfo(5); blanks in it are written as \040, which no planned mount point has.
    while read -r v_id v_parent v_device v_root v_point v_rest; do
        case $v_point in
            "$TARGET"/*) printf '%s\n' "$v_point" ;;
        esac
    done </proc/self/mountinfo
    : "$v_id" "$v_parent" "$v_device" "$v_root" "$v_rest"
}
