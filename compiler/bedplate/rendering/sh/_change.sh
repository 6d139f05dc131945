# --- runtime: a change of the installed machine --------------------------------------------------------------------------
# What is different from an installation: the target is the running system itself. These take the place of the functions
# of the same names above.

BEGUN_LIST=$TARGET/var/lib/bedplate/begun-$DIGEST CHOSEN=

usage() {
    cat <<USAGE
sh $0            change $MACHINE: that it is what the old spec says is proved first, then all is shown and confirmed
sh $0 --undo     take the change back, the last first: everything is shown, then confirmed
sh $0 --show     print what would be done, action by action; touches nothing
sh $0 --list     print the actions
sh $0 --help     this text

Run it as root on the installed machine. Run again after a failure or a power cut, it continues where it has to;
or take everything back. --undo can be interrupted and run again as well. It takes back only what this change has made and
what is still as it was made; everything else is named and left.
Exit status: 0 done, 1 refused or failed, or --undo has left something, 2 wrong use.
USAGE
}

# in_target COMMAND...: the command on the running system, in a clean environment, as for an installation.
in_target() {
    /usr/bin/env -i PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin \
        LANG=C HOME=/root TERM="${TERM:-dumb}" "$@" 3<&- 4>&- 9>&-
}

# outside_target: here it must be the very machine, started from its own disk.
outside_target() {
    r_first=$(stat -c %d:%i /proc/1/root/ 2>/dev/null) || r_first=
    if [ -n "$r_first" ] && [ "$(stat -c %d:%i /)" != "$r_first" ]; then
        say 'This is running in a changed root folder. Run it on the machine itself. Nothing was changed.'
        return 1
    fi
    if [ -n "$ROOT_UUID" ] && [ "$(findmnt -no UUID / 2>/dev/null)" != "$ROOT_UUID" ]; then
        say "This is not the installed $MACHINE: its root file system would be $ROOT_UUID. Nothing was changed."
        return 1
    fi
}

install_machine() {
    prepare || exit 1
    print_plan
    look_around || refuse
    find_everything_wrong || refuse
    for_each_action ask_secrets || refuse
    print_touches
    confirm 'to start' || refuse
    for_each_action carry_out || exit 1
    keep_papers
    MODE=show IN=/dev/null
    for_each_action print_next
    say ''
    say "All $TOTAL actions of this change are done and proved. Log: $LOG"
}

undo_machine() {
    prepare || exit 1
    say ''
    say "This takes the change of $MACHINE back."
    look_around || refuse
    say ''
    if [ ! -e "$BEGUN_LIST" ]; then
        say 'Nothing on this machine says that this change was ever carried out. There is nothing to take back.'
        return 0
    fi
    say 'In this order:'
    MODE=show IN=/dev/null
    for_each_action_last_first show_back
    MODE=undo IN=$WORK/in
    : >"$WORK/holdings" && : >"$WORK/left" || exit 1
    look_at_partitions
    print_holdings
    confirm 'to take it back' || refuse
    CHANGED=yes
    for_each_action choose_back || exit 1
    # From here on this change does not count as carried out, whatever cuts the way back short.
    papers_back
    for_each_action_last_first take_back || exit 1
    end_undo
    rm -f -- "$BEGUN_LIST"
}

# was_begun NUMBER NAME...: what held before this change came to it was somebody else's work, and stays. Once it is chosen,
# only what is to be taken back.
was_begun() {
    case $4 in
        *lasting*) grep -Fqx -e "${CHOSEN:-begun} $2" -- "$BEGUN_LIST" ;;
    esac
}

# choose_back NUMBER NAME...: what was done, and is not so any more, somebody has changed since: it is left. What is to be
# taken back is noted first: a rerun after a power cut goes on with that.
choose_back() {
    CHOSEN=
    was_begun "$@" || return 0
    CHOSEN=back
    case $4 in
        *lasting*undo*) ;;
        *) return 0 ;;
    esac
    ! was_begun "$@" || return 0
    case $4 in
        *proof*)
            if grep -Fqx -e "done $2" -- "$BEGUN_LIST" && ! is_proved "$1" && ! proved "$@"; then
                verb_leave "[$1] $6: changed since$(sed -n 's/^ *- Not so: */; not so any more: /p' "$WORK/missed")" \
                    2>>"$LOG"
                return
            fi
            ;;
    esac
    printf 'back %s\n' "$2" >>"$BEGUN_LIST" && sync
}

# note_plan NUMBER NAME...: every action that is begun, before anything of it is done.
note_plan() {
    if [ -z "$NOTED" ]; then
        record_plan || return 1
        # Carried out again: what was chosen to be taken back is so no more.
        [ ! -e "$BEGUN_LIST" ] || sed -i '/^back /d' "$BEGUN_LIST" || return 1
    fi
    NOTED=yes
    printf 'begun %s\n' "$2" >>"$BEGUN_LIST" && sync
}

note_done() {
    printf 'done %s\n' "$2" >>"$BEGUN_LIST"
}

# keep_log: the log lies on the machine already.
keep_log() {
    :
}

# keep_papers: those of before stay, and spec.before leads to them until the next change.
keep_papers() {
    r_papers=$TARGET/var/lib/bedplate/spec
    r_now=$(readlink -- "$r_papers")
    [ "$r_now" != "specs/$DIGEST" ] || return 0
    [ -z "$r_now" ] || ln -sfn -- "$r_now" "$r_papers.before"
    put_papers
}

papers_back() {
    r_papers=$TARGET/var/lib/bedplate/spec
    if [ "$(readlink -- "$r_papers")" = "specs/$DIGEST" ] && [ -h "$r_papers.before" ]; then
        mv -fT -- "$r_papers.before" "$r_papers" && sync
    fi
}
