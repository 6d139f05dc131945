# close-target [swap:WHERE] [esp:PARTUUID] [container:NAME] ...: write everything out, switch off our swap, unmount the
# target from the inside out, check the EFI system partition, close our containers. Live mounts are left alone.
# uses: partition-node swap-is-on target-is-closed
verb_close_target() {
    sync || return 1
    for v_item in "$@"; do
        case $v_item in
            swap:*)
                verb_swap_is_on "${v_item#*:}" 2>/dev/null || continue
                verb_partition_node "${v_item#*:}" || return 1
                swapoff -- "$v_node" || return 1
                ;;
        esac
    done
    findmnt -rno TARGET,SOURCE >"$WORK/mounts" || return 1
    # What was bound from the live system is made private first, or its unmounting would reach the live system. Our own
    # file systems are not: services of the medium have name spaces of their own, and must let go of them as well.
    while read -r v_point v_source; do
        case $v_point:$v_source in
            "$TARGET"/*:/dev/*) ;;
            "$TARGET"/*) mount --make-private "$(printf '%b' "$v_point")" || return 1 ;;
        esac
    done <"$WORK/mounts"
    sort -r "$WORK/mounts" >"$WORK/mounts-inward" || return 1
    while read -r v_point v_source; do
        case $v_point in
            "$TARGET" | "$TARGET"/*) umount -- "$(printf '%b' "$v_point")" || return 1 ;;
        esac
    done <"$WORK/mounts-inward"
    verb_target_is_closed || return 1
    for v_item in "$@"; do
        case $v_item in
            esp:*)
                verb_partition_node "${v_item#*:}" || return 1
                fsck.fat -n "$v_node" || say "The file system check of the EFI system partition ($v_node) found faults."
                ;;
            container:*)
                [ ! -e "/dev/mapper/${v_item#*:}" ] || cryptsetup close "${v_item#*:}" || return 1
                ;;
        esac
    done
}
