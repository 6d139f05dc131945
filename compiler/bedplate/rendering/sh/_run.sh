# --- runtime: carrying out -----------------------------------------------------------------------------------------

# run COMMAND...: one command, its words and its output into the log. With --show it is printed and not run.
run() {
    quote "$@"
    LAST_COMMAND=$r_line
    only_shown "$LAST_COMMAND" && return 0
    printf '$ %s\n' "$LAST_COMMAND" >>"$LOG" || return 1
    plain "$@" >>"$LOG" 2>&1 3<&- 9>&-
    LAST_STATUS=$?
    TABLE_READ=
    printf '(exit status %s)\n' "$LAST_STATUS" >>"$LOG"
    return "$LAST_STATUS"
}

# run_into FILE COMMAND...: like run; the output goes into FILE, which appears only when it is whole.
run_into() {
    r_into=$1
    shift
    LAST_COMMAND="$(quoted "$@") > $(quoted "$r_into")"
    only_shown "$LAST_COMMAND" && return 0
    printf '$ %s\n' "$LAST_COMMAND" >>"$LOG" || return 1
    mkdir -p -- "${r_into%/*}/" 2>>"$LOG" || return 1
    plain "$@" >"$r_into.part" 2>>"$LOG" 3<&- 9>&-
    LAST_STATUS=$?
    printf '(exit status %s)\n' "$LAST_STATUS" >>"$LOG"
    [ "$LAST_STATUS" -eq 0 ] || return "$LAST_STATUS"
    mv -f -- "$r_into.part" "$r_into" 2>>"$LOG" || return 1
}

# only_shown COMMAND: with --show, print it (or what was said by same_as) and succeed.
only_shown() {
    [ "$MODE" = show ] || return 1
    r_line=$1
    case $r_line in
        'in_target '*) r_line="${TARGET:+chroot $TARGET }${r_line#in_target }" ;;
        verb_*) r_line="(this script's function) ${r_line#verb_}" ;;
    esac
    [ -n "$SAID" ] || printf '        %s\n' "$r_line" | plainly >&4
    SAID=
}

# same_as LINE...: with --show, these commands are printed in place of the library verb that comes next.
same_as() {
    [ "$MODE" = show ] || return 0
    SAID=yes
    printf '        %s\n' "$@" >&4
}

# in_target COMMAND...: the command inside the target, in a clean environment. Under any other locale than C each program
# reads a dozen files first; a verb that needs letters beyond ASCII says so itself.
in_target() {
    chroot "$TARGET" /usr/bin/env -i PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin \
        LANG=C HOME=/root TERM="${TERM:-dumb}" "$@" 3<&- 4>&- 9>&-
}

# by_hand TEXT COMMAND...: work for the person in the middle of the script.
by_hand() {
    stop_clock
    say "    By hand: $1"
    shift
    for r_word in "$@"; do
        say "        $r_word"
    done
    [ "$MODE" = show ] && return 0
    LAST_COMMAND='work by hand' LAST_STATUS=1 TABLE_READ=
    answer 'Type done when it is done: ' || return 1
    [ "$ANSWER" = 'done' ] || return 1
}

# expect SAYS OTHERWISE TEST...: 0 if the test holds, else 1 and an entry in the list of what does not hold.
expect() {
    r_says=$1 r_otherwise=$2
    shift 2
    "$@" >"$WORK/found" 2>&1 3<&- 9>&- && return 0
    {
        printf '      - Not so:  %s\n' "$r_says"
        found
        [ -z "$r_otherwise" ] || printf '        to do:     %s\n' "$r_otherwise"
    } >>"$WORK/missed"
    return 1
}

# answer PROMPT: one line from the person into ANSWER.
answer() {
    printf '%s' "$1" >&4
    if ! IFS= read -r ANSWER <&3 && [ -z "$ANSWER" ]; then
        say ''
        say 'No answer could be read.'
        return 1
    fi
    [ -t 3 ] || printf '\n' >&4
}

# uptime_now: seconds since the machine was started into NOW. The time of day may be set by an action.
uptime_now() {
    IFS='. ' read -r NOW _ </proc/uptime
}

# start_clock, stop_clock: on a terminal, show the seconds that a long action has taken so far. One process counts for the
# whole run; $WORK/clock tells it when the action began, and is empty in between.
start_clock() {
    uptime_now
    BEGAN=$NOW
    [ -t 4 ] || return 0
    printf '%s\n' "$BEGAN" >"$WORK/clock"
    TICKING=yes
    [ -z "$CLOCK" ] || return 0
    while sleep 3 >/dev/null 2>&1 4>&-; do
        IFS= read -r r_began <"$WORK/clock" || continue
        uptime_now
        printf '\r    %s s ' "$((NOW - r_began))" >&4
    done 2>/dev/null 3<&- 9>&- &
    CLOCK=$!
}

stop_clock() {
    [ -n "$TICKING" ] || return 0
    : >"$WORK/clock"
    TICKING=
    printf '\r' >&4
}

end_clock() {
    stop_clock
    [ -n "$CLOCK" ] || return 0
    kill "$CLOCK" 2>/dev/null
    wait "$CLOCK" 2>/dev/null
    CLOCK=
}
