# partition-is-ours PARTUUID: the partition of $DISK lies where the plan has it, under its own name or the mark of an
# unfinished one, and holds what the plan puts there. Only an unfinished one may be blank, seen by blkid(8) and wipefs(8).
# uses: contents-read partition-is-ready planned-row table-read table-row
verb_partition_is_ours() {
    verb_row_is_planned "$1" && verb_partition_is_ready "$1" || return 1
    verb_contents_read "$v_row_node"
    [ "$v_status:$v_type:$v_uuid:$v_inner" != "0:$v_plan_kind:$v_plan_uuid:" ] || return 0
    case $v_unfinished:$v_status:$v_type:$v_inner in
        yes:0:: | yes:2::)
            v_signs=$(wipefs --no-act -- "$v_row_node") && [ -z "$v_signs" ] && return 0
            ;;
    esac
    printf 'it holds %s with UUID %s, not %s with UUID %s, as this script made it\n' \
        "${v_type:-nothing that is known}" "${v_uuid:-none}" "$v_plan_kind" "$v_plan_uuid" >&2
    return 1
}

# Sets v_unfinished, too.
verb_row_is_planned() {
    verb_planned_row "$1" && verb_table_read && verb_table_row "$1" || return 1
    if [ "$v_row_start $v_row_size $v_row_type" != "$v_plan_place" ]; then
        printf 'it lies at %s, %s sectors, type %s; this plan has it at %s, %s sectors, type %s\n' \
            "$v_row_start" "$v_row_size" "$v_row_type" "$v_plan_start" "$v_plan_size" "$v_plan_type" >&2
        return 1
    fi
    v_unfinished=
    # A name in a GPT holds 36 characters (UEFI specification, 5.3.3).
    v_mark=$(printf '%.36s' "unfinished-$v_plan_name")
    case $v_row_rest, in
        ", name=\"$v_plan_name\","*) return 0 ;;
        ", name=\"$v_mark\","*)
            v_unfinished=yes
            return 0
            ;;
    esac
    printf 'it is not named %s, its row has: %s\n' "$v_plan_name" "${v_row_rest#, }" >&2
    return 1
}
