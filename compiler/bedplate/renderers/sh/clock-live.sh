# clock-live URL: the live clock is right. Says how it was found: by a time service, by the package source (within 60
# seconds), or, where neither can be asked, only that it is not older than the live medium.
# uses: clock-date clock-source
verb_clock_live() {
    if [ "$(timedatectl show --property=NTPSynchronized --value 2>/dev/null)" = yes ]; then
        printf 'the clock is synchronised with a time server\n'
        return 0
    fi
    v_source=$(verb_clock_source "$1")
    if [ -n "$v_source" ] && v_date=$(verb_clock_date "$v_source"); then
        v_off=$(($(date +%s) - v_date))
        if [ "$v_off" -le 60 ] && [ "$v_off" -ge -60 ]; then
            printf 'the clock agrees with %s to %s seconds\n' "$v_source" "${v_off#-}"
            return 0
        fi
        printf 'the clock is %s seconds away from that of %s\n' "${v_off#-}" "$v_source" >&2
        return 1
    fi
    for v_file in /usr/lib/clock-epoch /usr/lib/os-release /etc/os-release /var/lib/dpkg/status; do
        [ -e "$v_file" ] || continue
        if [ "$(date +%s)" -lt "$(stat -L -c %Y -- "$v_file")" ]; then
            printf 'the clock is older than the live medium itself: it shows %s\n' "$(date -u)" >&2
            return 1
        fi
    done
    printf 'nobody could be asked; the clock is at least not older than the live medium: %s\n' "$(date -u)"
}
