# clock-plausible URL: the live clock is at most a day off, as far as anybody can tell; the rest is for clock-sync.
# uses: clock-date clock-live clock-source
verb_clock_plausible() {
    verb_clock_live "$1" >/dev/null 2>"$WORK/clock-wrong" && return 0
    v_source=$(verb_clock_source "$1")
    if [ -n "$v_source" ] && v_date=$(verb_clock_date "$v_source"); then
        v_off=$(($(date +%s) - v_date))
        [ "${v_off#-}" -gt 86400 ] || return 0
        printf 'the clock shows %s, which is %s days away from that of %s\n' \
            "$(date -u '+%Y-%m-%d %H:%M UTC')" "$((${v_off#-} / 86400))" "$v_source" >&2
        return 1
    fi
    cat "$WORK/clock-wrong" >&2
    return 1
}
