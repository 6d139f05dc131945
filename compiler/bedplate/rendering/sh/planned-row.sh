# planned-row PARTUUID: find the partition in the plan (OUR_ROWS, one a line); sets v_plan_place (start, size, type),
# v_plan_kind and v_plan_uuid (what lies on it), v_plan_root (root: the new system itself, with the record of the plan)
# and v_plan_name.
# shellcheck disable=SC2034 # read by the verbs that use this one
verb_planned_row() {
    while read -r v_plan_guid v_plan_start v_plan_size v_plan_type v_plan_kind v_plan_uuid v_plan_root v_plan_name; do
        v_plan_place="$v_plan_start $v_plan_size $v_plan_type"
        [ "$v_plan_guid" != "$1" ] || return 0
    done <<END_OF_ROWS
${OUR_ROWS-}
END_OF_ROWS
    printf 'the plan has no partition %s\n' "$1" >&2
    return 1
}
