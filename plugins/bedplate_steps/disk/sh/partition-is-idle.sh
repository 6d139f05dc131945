# partition-is-idle PARTUUID [MAPPER]: the kernel has the partition of $DISK exactly where the table has it, and nothing
# uses it: no mount, no swap, no layer on top of it (but the opened container MAPPER).
# uses: partition-is-ready
# shellcheck disable=SC2154 # v_row_node is set by table-row
verb_partition_is_idle() {
    verb_partition_is_ready "$1" || return 1
    lsblk -nrpo NAME,TYPE,MOUNTPOINT "$v_row_node" >"$WORK/layers" || return 1
    v_used=
    while read -r v_name v_type v_point; do
        case $v_name:$v_point in
            "$v_row_node": | "/dev/mapper/${2:--}":) ;;
            *) v_used="$v_used $v_name ($v_type${v_point:+ at $v_point})" ;;
        esac
    done <"$WORK/layers"
    [ -z "$v_used" ] && return 0
    printf 'in use:%s\n' "$v_used" >&2
    return 1
}
