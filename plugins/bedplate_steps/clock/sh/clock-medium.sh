# clock-medium not-before|near: the clock is not older than the running system's own files; near: nor two years ahead of
# all of them, where no person has written today's date into /run/bedplate-clock.
verb_clock_medium() {
    v_now=$(date +%s) v_newest=0
    for v_file in /usr/lib/clock-epoch /usr/lib/os-release /etc/os-release /var/lib/dpkg/status; do
        [ -e "$v_file" ] || continue
        v_made=$(stat -L -c %Y -- "$v_file") || return 1
        if [ "$v_now" -lt "$v_made" ]; then
            printf 'the clock is older than the live medium itself: it shows %s\n' "$(date -u)" >&2
            return 1
        fi
        [ "$v_made" -le "$v_newest" ] || v_newest=$v_made
    done
    [ "$1" = near ] && [ "$((v_now - v_newest))" -gt 63072000 ] || return 0
    v_word=
    [ ! -f /run/bedplate-clock ] || read -r v_word </run/bedplate-clock
    [ "$v_word" != "$(date -u +%Y-%m-%d)" ] || return 0
    printf 'the clock shows %s, more than two years after the live medium was made, and nobody can be asked\n' \
        "$(date -u '+%Y-%m-%d %H:%M UTC')" >&2
    printf 'if that is right, say so, then run this again: date -u +%%Y-%%m-%%d > /run/bedplate-clock\n' >&2
    return 1
}
