# hardware-clock-is utc|local ZONE-FILE: the hardware clock shows that time, to a minute. True without a hardware clock.
verb_hardware_clock_is() {
    [ -d /sys/class/rtc/rtc0 ] || return 0
    # The kernel gives the reading as if it were UTC.
    read -r v_shown </sys/class/rtc/rtc0/since_epoch || return 1
    v_offset=0
    if [ "$1" = local ]; then
        v_zone=$(TZ=":$2" date +%z)
        v_digits=${v_zone#[+-]}
        v_hours=${v_digits%??} v_minutes=${v_digits#??}
        v_offset=$(((${v_hours#0} * 60 + ${v_minutes#0}) * 60))
        [ "${v_zone%"$v_digits"}" = + ] || v_offset=$((-v_offset))
    fi
    v_off=$((v_shown - $(date +%s) - v_offset))
    if [ "${v_off#-}" -gt 60 ]; then
        printf 'the hardware clock is %s seconds away from %s time\n' "${v_off#-}" "$1" >&2
        return 1
    fi
}
