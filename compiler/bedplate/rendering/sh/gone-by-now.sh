# gone-by-now WHERE: with --undo, a partition of the plan (or an opened container) that is not there, or does not hold what
# the plan put there: it is neither opened nor mounted. Never otherwise.
# uses: contents-read planned-row table-read table-row
verb_gone_by_now() {
    [ "${MODE-}" = undo ] || return 1
    case $1 in
        /*)
            [ ! -b "$1" ]
            return
            ;;
    esac
    verb_planned_row "$1" 2>/dev/null || return 1
    verb_table_read && verb_table_row "$1" || return 0
    [ "$v_row_start $v_row_size $v_row_type" = "$v_plan_place" ] || return 0
    verb_contents_read "$v_row_node"
    [ "$v_status:$v_type:$v_uuid" != "0:$v_plan_kind:$v_plan_uuid" ]
} 2>/dev/null
