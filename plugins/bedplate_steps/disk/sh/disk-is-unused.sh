# disk-is-unused: nothing on $DISK is mounted, used for swap, or held by a container, an array or a volume manager.
verb_disk_is_unused() {
    lsblk -nrpo NAME,TYPE,MOUNTPOINT "$DISK" >"$WORK/disk-uses" || return 1
    v_used=
    while read -r v_name v_type v_point; do
        case $v_type:$v_point in
            disk: | part: | loop:) ;;
            *) v_used="$v_used $v_name ($v_type${v_point:+ at $v_point})" ;;
        esac
    done <"$WORK/disk-uses"
    [ -z "$v_used" ] && return 0
    printf 'in use:%s\n' "$v_used" >&2
    return 1
}
