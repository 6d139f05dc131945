# mounts-below: prints every mount point below the target, one a line, parents first.
verb_mounts_below() {
    # The fifth field of proc_pid_mountinfo(5); blanks in it are written as \040, which no planned mount point has.
    # Copied first: a shell reads letter by letter, and the kernel would write the whole list anew for each.
    cat /proc/self/mountinfo >"$WORK/mountinfo" || return 1
    while read -r v_id v_parent v_device v_root v_point v_rest; do
        case $v_point in
            "$TARGET"/*) printf '%s\n' "$v_point" ;;
        esac
    done <"$WORK/mountinfo"
    : "$v_id" "$v_parent" "$v_device" "$v_root" "$v_rest"
}
