# clock-date URL: prints the time in the Date header of an answer from URL, in seconds since 1970. The header is not
# signed: it is good enough to find a clock that is hours or years off, no more.
# uses: date-words
verb_clock_date() {
    # A certificate cannot be judged while the clock is not known to be right.
    if command -v curl >/dev/null 2>&1; then
        curl -sSIk --connect-timeout 10 --max-time 20 -- "$1" >"$WORK/clock-head" 2>/dev/null || return 1
    elif command -v wget >/dev/null 2>&1; then
        # An answer of any kind has the header, a refusal too.
        wget -S -T 20 -O /dev/null --no-check-certificate "$1" >"$WORK/clock-head" 2>&1 || :
    else
        return 1
    fi
    # RFC 9110, section 5.6.7: Date: Wed, 25 Nov 2026 14:31:02 GMT
    v_head=$(sed -n 's/^ *[Dd]ate: *[A-Z][a-z][a-z], \([0-9 ][0-9] [A-Z][a-z][a-z] [0-9]* [0-9:]*\) GMT.*$/\1/p' \
        "$WORK/clock-head" | head -n 1)
    [ -n "$v_head" ] || return 1
    # shellcheck disable=SC2086 # four words
    verb_date_words $v_head
}
