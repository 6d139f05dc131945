# --- runtime: the way back ---------------------------------------------------------------------------------------------

# undo_machine: everything is looked at and shown first, then confirmed. Each way back succeeds where nothing is left to take
# back, so that this can be cut short and run again. What is not, or no longer, this plan's work is left and listed.
undo_machine() {
    prepare || exit 1
    say ''
    say "This takes back what was done of the installation of $MACHINE on $DISK."
    print_kept
    : >"$WORK/holdings" && : >"$WORK/left" || exit 1
    look_around || refuse
    this_plan_was_here early || refuse
    say ''
    say 'In this order:'
    MODE=show IN=/dev/null
    for_each_action_last_first show_back
    MODE=undo IN=$WORK/in
    say ''
    say 'What lies on new partitions goes with them. Have a copy of what you still need from there.'
    print_holdings
    confirm 'to take it back' || refuse
    CHANGED=yes REACHING=yes
    open_the_target || exit 1
    # A look replays no journal, so that what was written last may be seen only now.
    if ! look_for_record || ! this_plan_was_here now; then
        PEEKED=$OPENED
        say ''
        say 'Nothing was taken back. What was opened to see that is closed again; a journal in it may have been replayed.'
        exit 1
    fi
    for_each_action_last_first take_back || exit 1
    end_undo
}

# look_for_record: what the open target says of the plans that were carried out in it.
look_for_record() {
    RECORDED='' RECORDED_OTHERS='' BARE='' COPIES_SAY=''
    [ -n "$ROOT_UUID" ] && mountpoint -q "$TARGET" || return 0
    for r_folder in "$TARGET"/var/lib/bedplate/specs/*/; do
        [ -d "$r_folder" ] || continue
        r_folder=${r_folder%/}
        case ${r_folder##*/} in
            "$DIGEST") RECORDED=yes ;;
            *) RECORDED_OTHERS="$RECORDED_OTHERS ${r_folder##*/} ($(cd -- "$r_folder" && printf '%s ' *))" ;;
        esac
    done
    r_first=$(find "$TARGET" -xdev ! -type d ! -path "$TARGET/.base-unfinished" | head -n 1) || return 1
    [ -n "$r_first" ] || BARE=yes
}

# look_at_partitions: what is on each partition that could be deleted, for the person to see before the question.
look_at_partitions() {
    TABLE_READ=
    [ -n "$OUR_ROWS" ] && verb_table_read 2>/dev/null || return 0
    for r_guid in $OUR_PARTITIONS; do
        verb_table_row "$r_guid" 2>/dev/null || continue
        verb_partition_shows "$r_guid" >>"$WORK/holdings" 2>/dev/null
        verb_partition_is_ours "$r_guid" 2>"$WORK/found" ||
            sed 's/^/      it stays: /' "$WORK/found" >>"$WORK/holdings"
    done
}

print_holdings() {
    [ -s "$WORK/holdings" ] || return 0
    say ''
    say 'On these partitions lies now:'
    while IFS= read -r r_line; do
        say "  - $(printf '%s' "$r_line" | plainly)"
    done <"$WORK/holdings"
}

# this_plan_was_here early|now: 1, and words, where partitions of these GUIDs are there, and nothing says that it was this plan that
# made them: its record in the new system, or among the copies, or rows that are all exactly as planned with nothing
# finished in them. early: where the root is to be opened first, only the record of another plan tells.
this_plan_was_here() {
    [ -n "$OUR_ROWS" ] || return 0
    TABLE_READ='' r_there='' r_finished=''
    : >"$WORK/found"
    verb_table_read 2>"$WORK/found" || r_finished=yes r_there=yes
    for r_guid in $OUR_PARTITIONS; do
        verb_table_row "$r_guid" 2>/dev/null || continue
        r_there=yes
        verb_row_is_planned "$r_guid" 2>>"$WORK/found" && [ -n "$v_unfinished" ] || r_finished=yes
    done
    [ -z "$RECORDED" ] || return 0
    if [ "$1" = early ] && [ -n "$r_there" ] && [ -z "$RECORDED_OTHERS" ] && root_lies_there; then
        return 0
    fi
    if [ -z "$r_there" ]; then
        [ "$1" = early ] || return 0
        say "No partition of this plan is on $DISK: there is nothing to take back."
        return 0
    fi
    if [ -n "$RECORDED_OTHERS" ]; then
        say "The work on $DISK is another plan's:$RECORDED_OTHERS. This script is the plan $DIGEST."
        say 'Nothing of it is taken back by this script: run the script of that plan with --undo.'
        return 1
    fi
    if [ -n "${COPIES-}" ] && grep -Fqx -e "plan: $DIGEST" -- "$COPIES/about" 2>/dev/null; then
        COPIES_SAY=yes
        return 0
    fi
    [ -n "$r_finished" ] || return 0
    [ -s "$WORK/found" ] || [ -z "$BARE" ] || return 0
    say "Nothing says that it was this plan ($DIGEST) that made the partitions on $DISK."
    found >&4
    say 'They stay: run the script that made them with --undo, or take the work back by hand, as the checklist says.'
    return 1
}

# end_undo: what this script does not take back, and what it has left, with the reason of each.
end_undo() {
    TOLD=
    MODE=show IN=/dev/null
    for_each_action_last_first tell
    MODE=undo
    say ''
    if [ ! -s "$WORK/left" ]; then
        say "All that this script can take back is taken back. Log: $LOG"
        return 0
    fi
    print_left
    say "All else that this script can take back is taken back. Log: $LOG"
    exit 1
}

print_left() {
    [ -s "$WORK/left" ] || return 0
    say 'LEFT, since it is not, or no longer, what this script made, or somebody uses it:'
    while IFS= read -r r_line; do
        say "  - $(printf '%s' "$r_line" | plainly)"
    done <"$WORK/left"
}

# was_begun: everything of an installation that is there at all.
was_begun() {
    :
}

show_back() {
    case $4 in
        *undo*) ! was_begun "$@" || "back_$1_$2" ;;
    esac
}

# root_lies_there: the partition of the new system's root is in the table, with what the plan put there.
root_lies_there() {
    while read -r r_guid _ _ _ _ _ r_root _; do
        [ "$r_root" != root ] || ! verb_gone_by_now "$r_guid" || return 1
    done <<END_OF_ROWS
$OUR_ROWS
END_OF_ROWS
    return 0
}

# open_the_target: without it nobody can tell which files and boot entries are ours.
open_the_target() {
    if root_lies_there; then
        for_each_action open_again
        return
    fi
    [ -z "$RECORDED$COPIES_SAY" ] ||
        verb_leave 'boot entry and files on EFI system partitions: the new system, which has the list of them, is gone' 2>>"$LOG"
}

# open_again: what a way back has to look into is mounted, as for a rerun, where it is what the plan put there.
open_again() {
    case $4 in
        *reach*) ;;
        *) return 0 ;;
    esac
    TABLE_READ=
    [ -n "$REACHING" ] && ! proved "$@" || return 0
    case $PASSED in
        *" $1 "*) return 0 ;;
    esac
    case $4 in
        *peek*) ;;
        *) return 0 ;;
    esac
    ACTION="[$1/$TOTAL] $6"
    say "$ACTION"
    case $4 in
        *secret*) ask_now "$@" || stopped "$1" 'It cannot be opened without the secret.' || return 1 ;;
    esac
    OPENED="$1_$2 $OPENED"
    "do_$1_$2" || stopped "$1" 'A command failed.' || return 1
    # Which partitions are mounted now is a matter of what they hold.
    : >"$WORK/missed"
}

take_back() {
    case $4 in
        *undo*) ;;
        *) return 0 ;;
    esac
    was_begun "$@" || return 0
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
