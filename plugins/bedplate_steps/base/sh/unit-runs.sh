# unit-runs UNIT: the unit is active, or did its work and ended well.
verb_unit_runs() {
    systemctl is-active --quiet -- "$1" && return 0
    v_kind=$(systemctl show --property=Type --value -- "$1")
    v_result=$(systemctl show --property=Result --value -- "$1")
    [ "$v_kind" = oneshot ] && [ "$v_result" = success ] && return 0
    printf 'the unit %s is %s\n' "$1" "$(systemctl is-active -- "$1")" >&2
    return 1
}
