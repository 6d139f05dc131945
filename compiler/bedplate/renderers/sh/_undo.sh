# --- runtime: the way back ---------------------------------------------------------------------------------------------

# undo_machine: everything is looked at and shown first, then confirmed. Each way back succeeds where nothing is left to take
# back, so that this can be cut short and run again.
undo_machine() {
    prepare || exit 1
    say ''
    say "This takes back what was done of the installation of $MACHINE on $DISK."
    print_kept
    look_around || refuse
    say ''
    say 'In this order:'
    MODE=show IN=/dev/null
    for_each_action_last_first show_back
    MODE=undo IN=$WORK/in
    say ''
    say 'What lies on new partitions goes with them. Have a copy of what you still need from there.'
    confirm 'to take it back' || refuse
    CHANGED=yes REACHING=yes
    for_each_action open_again || exit 1
    for_each_action_last_first take_back || exit 1
    TOLD=
    MODE=show IN=/dev/null
    for_each_action_last_first tell
    MODE=undo
    say ''
    say "All that this script can take back is taken back. Log: $LOG"
}

show_back() {
    case $4 in
        *undo*) "back_$1_$2" ;;
    esac
}

# open_again: what a way back has to look into is mounted, as for a rerun; as far as the way to the target is there.
open_again() {
    case $4 in
        *reach*) ;;
        *) return 0 ;;
    esac
    TABLE_READ=
    [ -n "$REACHING" ] && ! proved "$@" || return 0
    case $4 in
        *peek*) ;;
        *lasting*)
            REACHING=
            return 0
            ;;
        *) return 0 ;;
    esac
    ACTION="[$1/$TOTAL] $6"
    say "$ACTION"
    case $4 in
        *secret*) ask_now "$@" || stopped "$1" 'It cannot be opened without the secret.' || return 1 ;;
    esac
    "do_$1_$2" || stopped "$1" 'A command failed.' || return 1
    : >"$WORK/missed"
    "proof_$1_$2" || stopped "$1" 'The work is done, but its proof does not hold.'
}

take_back() {
    case $4 in
        *undo*) ;;
        *) return 0 ;;
    esac
    ACTION="[$1/$TOTAL] $6"
    LAST_COMMAND='' LAST_STATUS=''
    TABLE_READ=
    : >"$WORK/missed"
    say "$ACTION"
    start_clock
    QUIET=yes
    "back_$1_$2" || stopped "$1" 'The way back failed.' || return 1
    QUIET=
    stop_clock
    say '    taken back'
}

# tell: what this script cannot take back, where it was done or may have been.
tell() {
    case $4 in
        *told*) ;;
        *) return 0 ;;
    esac
    case $3:$4 in
        'other system':* | firmware:*) ;;
        *stamp* | *proof*) is_proved "$1" || return 0 ;;
    esac
    if [ -z "$TOLD" ]; then
        say ''
        say 'Not taken back by this script, where it was done:'
    fi
    TOLD=yes
    "back_$1_$2"
}
