# units-are-well: the start is finished (three minutes are waited for it) and no unit has failed.
verb_units_are_well() {
    v_state=$(timeout 180 systemctl is-system-running --wait 2>/dev/null)
    [ "$v_state" = running ] && return 0
    printf 'the system is %s\n' "${v_state:-still starting}" >&2
    systemctl list-units --failed --plain --no-legend --no-pager >&2
    return 1
}
