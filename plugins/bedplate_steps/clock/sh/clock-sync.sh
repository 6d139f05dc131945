# clock-sync URL SERVER...: set the live clock: by the medium's time service, by chronyd, else by the Date header of the
# package source. SERVER are the time servers of the spec.
# uses: clock-date clock-live clock-source
verb_clock_sync() {
    v_url=$1
    shift
    clock_by_service "$@" || clock_by_header "$v_url" || say '    No time server and no package source tells the time.'
    rm -f "$WORK/clock-opinion"
    verb_clock_live "$v_url" >"$WORK/clock-way" || return 1
    say "    $(cat "$WORK/clock-way")."
}

# clock_by_service SERVER...: at most half a minute.
clock_by_service() {
    if timedatectl set-ntp true 2>/dev/null; then
        v_left=15
        while [ "$v_left" -gt 0 ]; do
            [ "$(timedatectl show --property=NTPSynchronized --value 2>/dev/null)" = yes ] && return 0
            sleep 1
            v_left=$((v_left - 1))
        done
    fi
    command -v chronyd >/dev/null 2>&1 || return 1
    if [ "$#" -eq 0 ]; then
        # The servers of the medium's own configuration.
        chronyd -q -t 15 >/dev/null 2>&1
        return
    fi
    for v_server in "$@"; do
        chronyd -q -t 15 "server $v_server iburst" >/dev/null 2>&1 && return 0
    done
    return 1
}

# clock_by_header URL: set the clock if it is more than a minute off.
clock_by_header() {
    v_source=$(verb_clock_source "$1")
    [ -n "$v_source" ] || return 1
    v_date=$(verb_clock_date "$v_source") || return 1
    v_off=$(($(date +%s) - v_date))
    [ "${v_off#-}" -le 60 ] || date -u -s "@$v_date" >/dev/null
}
