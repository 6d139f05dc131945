# power-lasts: the machine runs on mains power, has no battery, or its battery is at least half full. Batteries of mice
# and the like do not count (Linux, Documentation/ABI, sysfs-class-power).
verb_power_lasts() {
    v_low=
    for v_supply in /sys/class/power_supply/*; do
        v_kind='' v_scope='' v_state='' v_level='' v_online=
        [ ! -r "$v_supply/type" ] || read -r v_kind <"$v_supply/type"
        [ ! -r "$v_supply/scope" ] || read -r v_scope <"$v_supply/scope"
        [ "$v_scope" != Device ] || continue
        case $v_kind in
            Battery)
                [ ! -r "$v_supply/status" ] || read -r v_state <"$v_supply/status"
                [ ! -r "$v_supply/capacity" ] || read -r v_level <"$v_supply/capacity"
                [ "$v_state" = Discharging ] || continue
                [ "${v_level:-0}" -ge 50 ] || v_low=${v_level:-unknown}
                ;;
            Mains | USB*)
                [ ! -r "$v_supply/online" ] || read -r v_online <"$v_supply/online"
                [ "$v_online" != 1 ] || return 0
                ;;
        esac
    done
    [ -n "$v_low" ] || return 0
    printf 'the machine runs on its battery, which is at %s %%\n' "$v_low" >&2
    return 1
}
