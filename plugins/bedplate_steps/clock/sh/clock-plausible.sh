# clock-plausible URL: the live clock is at most a day off, as far as anybody can tell; the rest is for clock-sync.
# uses: clock-medium clock-opinion
verb_clock_plausible() {
    verb_clock_opinion "$1"
    if [ -z "$v_off" ]; then
        verb_clock_medium near
        return
    fi
    [ "${v_off#-}" -gt 86400 ] || return 0
    printf 'the clock shows %s, which is %s days away from that of %s\n' \
        "$(date -u '+%Y-%m-%d %H:%M UTC')" "$((${v_off#-} / 86400))" "$v_source" >&2
    return 1
}
