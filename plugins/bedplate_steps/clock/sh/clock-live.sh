# clock-live URL: the live clock is right. Says how it was found: by the package source (within 60 seconds), by a time
# service that the source does not contradict, or, where neither can be asked, only that the medium is older.
# uses: clock-medium clock-opinion
verb_clock_live() {
    verb_clock_opinion "$1"
    v_synchronised=
    [ "$(timedatectl show --property=NTPSynchronized --value 2>/dev/null)" != yes ] || v_synchronised=yes
    if [ -n "$v_off" ] && [ "${v_off#-}" -le 60 ]; then
        printf 'the clock agrees with %s to %s seconds\n' "$v_source" "${v_off#-}"
    elif [ -n "$v_synchronised" ] && { [ -z "$v_off" ] || [ "${v_off#-}" -le 86400 ]; }; then
        printf 'the clock is synchronised with a time server\n'
    elif [ -n "$v_off" ]; then
        [ -z "$v_synchronised" ] || printf 'a time service calls the clock right, but the package source does not: ' >&2
        printf 'the clock is %s seconds away from that of %s\n' "${v_off#-}" "$v_source" >&2
        return 1
    else
        verb_clock_medium not-before || return 1
        printf 'nobody could be asked; the clock is at least not older than the live medium: %s\n' "$(date -u)"
    fi
}
