# --- runtime: the report of a failure ----------------------------------------------------------------------------------

# stopped NUMBER WHAT: the report of a failure; always returns 1.
stopped() {
    stop_clock
    QUIET=
    tail -n 12 "$LOG" | cut -c 1-160 | plainly >"$WORK/tail"
    say ''
    say "STOPPED at $ACTION"
    say "    $2"
    if [ -s "$WORK/missed" ]; then
        while IFS= read -r r_line; do
            say "$r_line"
        done <"$WORK/missed"
    elif [ -n "$LAST_COMMAND" ]; then
        say "    Command:     $(printf '%s' "$LAST_COMMAND" | plainly)"
        say "    Exit status: $LAST_STATUS"
        say '    The last lines of the log:'
        sed 's/^/        /' "$WORK/tail" >&4
    fi
    case $MODE in
        undo) report_undo ;;
        *) report_rest "$1" ;;
    esac
    keep_log
    if ! printf '\n' >>"$LOG"; then
        say "The log $LOG takes nothing more: its file system is full or read-only. That alone can be the cause."
    fi
    return 1
}

# unexplained WHAT: what failed, where the command itself told it to the log only.
unexplained() {
    say ''
    say "$1"
    say "    Command:     $(printf '%s' "$LAST_COMMAND" | plainly)"
    say '    The last lines of the log:'
    tail -n 6 "$LOG" | cut -c 1-160 | plainly | sed 's/^/        /' >&4
}

# report_rest NUMBER: what is done, what is untouched, the two choices.
report_rest() {
    if [ -z "$CHANGED" ] && [ -z "$DONE" ]; then
        say '    Nothing was changed.'
        return 0
    fi
    say ''
    say 'Done or begun, last first, with the way back of each:'
    [ -z "$INSIDE" ] || say "  - What lies in the new system and goes with its partitions:$INSIDE"
    MODE=show IN=/dev/null
    for r_action in $BEGUN $DONE; do
        "back_$r_action"
    done
    MODE=install IN=$WORK/in
    say "Not begun: everything after [$1/$TOTAL]."
    print_kept
    say ''
    say 'What you can do now:'
    say "  - Go on: mend what is wrong and run again: sh $(quoted "$0")   (what is proved is skipped)"
    say "  - Go back: sh $(quoted "$0") --undo   (takes back what is done, in that order)"
    say "The log: $LOG"
}

report_undo() {
    say ''
    print_left
    print_kept
    say ''
    say 'What you can do now:'
    say "  - Take back the rest: mend what is wrong and run again: sh $(quoted "$0") --undo"
    say "  - Install after all: sh $(quoted "$0")   (what was taken back is done again)"
    say "The log: $LOG"
}

# way_back TITLE NOTE: the note of an action; its commands follow.
way_back() {
    [ -z "$QUIET" ] || return 0
    say "  - $1"
    say "      $2"
}

interrupted() {
    trap '' HUP INT QUIT PIPE TERM
    say ''
    say "Interrupted by a signal ($1)."
    if [ -n "$ACTION" ]; then
        r_number=${ACTION#\[}
        [ "$MODE" = undo ] || MODE=install
        stopped "${r_number%%/*}" 'It was interrupted while this action ran; the action may be half done.'
    else
        say 'Nothing was changed.'
    fi
    exit "$2"
}
