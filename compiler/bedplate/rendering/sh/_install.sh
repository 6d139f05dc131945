# --- runtime: the order of the work ----------------------------------------------------------------------------------

usage() {
    cat <<USAGE
sh $0            install $MACHINE: everything is checked, then shown, then confirmed, before the first write
sh $0 --undo     take back what was done, the last first: everything is shown, then confirmed
sh $0 --show     print what would be done, action by action; touches nothing
sh $0 --list     print the actions and where each is carried out
sh $0 --help     this text

Run it as root on the live medium. Run again after a failure or a power cut, it continues where it has to;
or take everything back. --undo can be interrupted and run again as well. It takes back only what this plan has made and
what is still as it was made; everything else is named and left.
Exit status: 0 done, 1 refused or failed, or --undo has left something, 2 wrong use.
USAGE
}

main() {
    MODE=install
    case $#:${1-} in
        0:) ;;
        1:--show) MODE=show IN=/dev/null ;;
        1:--list) MODE=list ;;
        1:--undo) MODE=undo ;;
        1:--help)
            usage
            exit 0
            ;;
        1:*) wrong_use "$1" --undo --show --list --help ;;
        *) wrong_use "$2" ;;
    esac
    streams_are_open
    exec 3<&0 4>&1 </dev/null
    case $MODE in
        list) for_each_action list_action ;;
        show) show_all ;;
        install) install_machine ;;
        undo) undo_machine ;;
    esac
}

# list_action NUMBER NAME STAGE FLAGS STAMP TITLE: every function that for_each_action calls gets these words.
list_action() {
    printf '%3s  %-12s  %s\n' "$1" "$3" "$6" >&4
}

show_all() {
    DISK=$(find_disk 2>/dev/null) || DISK=THE-DISK
    print_plan
    for_each_action show_action
}

show_action() {
    say ''
    say "[$1/$TOTAL] $6"
    case $4 in
        *touch*) "touches_$1_$2" ;;
    esac
    "do_$1_$2" || return 1
}

install_machine() {
    prepare || exit 1
    print_plan
    look_around || refuse
    find_everything_wrong || refuse
    ask_done || refuse
    choose_copies || refuse
    for_each_action ask_secrets || refuse
    print_last_look
    print_touches
    confirm 'to start' || refuse
    for_each_action carry_out || exit 1
    MODE=show IN=/dev/null
    for_each_action print_next
    say ''
    r_medium=0
    for_each_action count_medium
    say "All $r_medium actions that belong on this medium are done and proved. Log: $LOG"
    say 'Go on as shown above; the checklist says more.'
}

count_medium() {
    case $3 in
        live | target) r_medium=$((r_medium + 1)) ;;
    esac
}

# prepare: only root, only one copy, only from a live medium; a private folder in memory; the log; the disk.
prepare() {
    OWN_IDS=$(id -u)
    if [ "$OWN_IDS" != "$NEEDED_UID" ]; then
        say 'This has to be run as root. Nothing was changed.'
        return 1
    fi
    OWN_IDS=$OWN_IDS:$(id -g)
    missing_tools || return 1
    take_lock || return 1
    outside_target || return 1
    sweep_scratch
    make_scratch || return 1
    keep_from_swap || return 1
    trap leave EXIT
    trap 'interrupted HUP 129' HUP
    trap 'interrupted INT 130' INT
    trap 'interrupted QUIT 131' QUIT
    trap 'interrupted PIPE 141' PIPE
    trap 'interrupted TERM 143' TERM
    trap '' TSTP # stopped by the terminal, it would leave the echo off and the work half done
    if ! mkdir -p -- "${LOG%/*}" || ! (umask 077 && printf '\n===== %s, %s, %s, %s\n' \
        "$MACHINE" "$SPEC" "$DIGEST" "$(date -u +%Y-%m-%dT%H:%M:%SZ)" >>"$LOG"); then
        say "The log $LOG cannot be written: is its file system full or read-only? Nothing was changed."
        return 1
    fi
    LOG_OPEN=yes
    if ! DISK=$(find_disk 2>"$WORK/found"); then
        say "The disk of $MACHINE was not found. Nothing was changed."
        found >&4
        say '        to do:     check that this is the right machine, and that its disk is connected and switched on'
        say '                   in the firmware. If the disk was replaced, make a new survey and compile again.'
        return 1
    fi
}

# sweep_scratch: with the lock held, what a copy that was killed left in memory is nobody's.
sweep_scratch() {
    for r_word in $SCRATCH; do
        for WORK in "$r_word"/bedplate.????????; do
            [ -L "$WORK" ] || [ ! -d "$WORK" ] || [ "$(stat -c %u -- "$WORK")" != "$NEEDED_UID" ] || wipe_scratch
        done
    done
    WORK=
}

# keep_from_swap: a tmpfs may be written to a swap area, and this script switches one on; a ramfs never is (the kernel's
# documentation, filesystems/ramfs-rootfs-initramfs).
keep_from_swap() {
    [ "$NEEDED_UID" = 0 ] || return 0
    rm -f -- "$WORK"/*
    mount -t ramfs -o mode=0700,nosuid,nodev,noexec none "$WORK" && (umask 077 && : >"$IN" && : >"$WORK/missed") &&
        return 0
    wipe_scratch
    say 'Memory that is never written to a swap area could not be had (ramfs), and secrets need it. Nothing was changed.'
    return 1
}

# take_lock: some shells close what they have opened above 2 in the commands they start, unless it is named there.
take_lock() {
    if ! (: >>"$LOCK") 2>/dev/null || ! exec 9>>"$LOCK"; then
        say "The lock $LOCK cannot be opened. Nothing was changed."
        return 1
    fi
    flock -n 9 9>&9 && return 0
    say "Another copy of a Bedplate script is running (lock: $LOCK). Nothing was changed."
    return 1
}

missing_tools() {
    r_missing=
    for r_word in cat chmod chown chroot cp cut date findmnt flock grep head id ln lsblk mkdir mktemp mount mv readlink rm \
        rmdir sed sha256sum sleep stat stty sync tail tr umount; do
        command -v "$r_word" >/dev/null 2>&1 || r_missing="$r_missing $r_word"
    done
    [ -z "$r_missing" ] && return 0
    say "These commands are missing on the live medium:$r_missing. Nothing was changed."
    return 1
}

outside_target() {
    r_first=$(stat -c %d:%i /proc/1/root/ 2>/dev/null) || r_first=
    if [ -n "$r_first" ] && [ "$(stat -c %d:%i /)" != "$r_first" ]; then
        say 'This is running in a changed root folder. Run it on the live medium itself. Nothing was changed.'
        return 1
    fi
    if [ -n "$ROOT_UUID" ] && [ "$(findmnt -no UUID / 2>/dev/null)" = "$ROOT_UUID" ]; then
        say "This is the installed $MACHINE itself. Start the live medium and run it there. Nothing was changed."
        return 1
    fi
}

# leave: whatever happens, no secret stays, and nothing that was opened for a look.
leave() {
    end_clock
    stop_looking
    show_typing
    close_copies
    wipe_scratch
}

# find_everything_wrong: all tools and all early guards of what is still to do, reported together.
find_everything_wrong() {
    TABLE_READ=
    : >"$WORK/wrong"
    : >"$WORK/missed"
    guard_tools
    if [ -s "$WORK/missed" ]; then
        printf '    The live medium\n' >>"$WORK/wrong"
        cat "$WORK/missed" >>"$WORK/wrong"
    fi
    for_each_action try_early
    [ -s "$WORK/wrong" ] || return 0
    say ''
    say 'Not everything is as it must be:'
    while IFS= read -r r_line; do
        say "$r_line"
    done <"$WORK/wrong"
    return 1
}

try_early() {
    [ "$3" != 'first boot' ] && ! is_proved "$1" || return 0
    : >"$WORK/missed"
    case $3:$4 in
        'other system':*proof* | firmware:*proof*) "proof_$1_$2" ;;
    esac
    case $4 in
        *guard*) "guard_$1_$2" early ;;
    esac
    [ -s "$WORK/missed" ] || return 0
    printf '    [%s] %s\n' "$1" "$6" >>"$WORK/wrong"
    cat "$WORK/missed" >>"$WORK/wrong"
}

refuse() {
    say ''
    say 'Nothing was changed.'
    exit 1
}

# ask_done: what comes before the live medium can only be asked for, unless it proves itself, or an earlier run has been
# told already: without that there would be no partition of ours.
ask_done() {
    WAITING=
    [ -z "$EARLIER" ] || return 0
    for_each_action list_manual
    [ -n "$WAITING" ] || return 0
    answer 'Have all of these been done? (yes/no) ' || return 1
    [ "$ANSWER" = yes ] && return 0
    say 'The checklist says how; do it, then run this script again.'
    return 1
}

list_manual() {
    case $3 in
        'other system' | firmware) ;;
        *) return 0 ;;
    esac
    ! is_proved "$1" || return 0
    if [ -z "$WAITING" ]; then
        say ''
        say 'Before this script, in the other system and in the firmware:'
    fi
    WAITING=yes
    say "    [$1/$TOTAL] $6"
}

ask_secrets() {
    case $4 in
        *secret*) is_proved "$1" || ask_now "$@" || return 1 ;;
    esac
}

# ask_now: the secrets of one action; those that are known already are not asked for again.
ask_now() {
    for_each_action load_keys || return 1
    "secrets_$1_$2"
}

# print_touches: line by line what is still to be formatted, deleted, or written outside the new system.
print_touches() {
    TOUCHED=
    say ''
    for_each_action list_touches
    [ -z "$TOUCHED" ] || return 0
    say 'This run formats nothing, deletes nothing, and writes nothing outside the new system.'
}

list_touches() {
    case $3:$4 in
        live:*touch* | target:*touch*) ;;
        *) return 0 ;;
    esac
    ! is_proved "$1" || return 0
    [ -n "$TOUCHED" ] || say 'What this run formats, deletes, or writes outside the new system:'
    TOUCHED=yes
    "touches_$1_$2"
}

# touches TEXT: one line of it.
touches() {
    say "  - $1"
}

# confirm WHAT: the person types the machine's name, or leaves.
confirm() {
    say ''
    answer "Type the name of the machine ($MACHINE) $1, anything else to leave: " || return 1
    if [ "$ANSWER" = "$MACHINE" ]; then
        stay_awake
        return 0
    fi
    say "That is not $MACHINE."
    return 1
}

# stay_awake: neither a closed lid nor idle time ends the work half way, where the medium can be told so. What tells it
# ends within a minute of this script, however that ends.
stay_awake() {
    command -v systemd-inhibit >/dev/null 2>&1 || return 0
    # shellcheck disable=SC2016 # the dollars are the inner shell's
    systemd-inhibit --what=sleep:idle:handle-lid-switch --who=Bedplate --why="$MACHINE is worked on" --mode=block \
        sh -c 'while kill -0 "$1" 2>/dev/null; do sleep 60; done' sh "$$" </dev/null >/dev/null 2>&1 3<&- 4>&- 9>&- &
}

# carry_out: proof, guards, work, proof again.
carry_out() {
    case $3 in
        live | target) ;;
        *) return 0 ;;
    esac
    ACTION="[$1/$TOTAL] $6"
    LAST_COMMAND='' LAST_STATUS='' TABLE_READ=
    if still_proved "$@" || proved "$@"; then
        say "$ACTION: already done, skipped"
        count_done "$@"
        return 0
    fi
    say "$ACTION"
    case $4 in
        # An action that held at first may have to be done after all, when what it stood on was made anew.
        *secret*)
            ask_now "$@" || stopped "$1" 'It cannot be done without the secret.' || return 1
            TABLE_READ=
            ;;
    esac
    start_clock
    work_on "$@" || return 1
    stop_clock
    count_done "$@"
    uptime_now
    say "    done, $((NOW - BEGAN)) s"
}

# still_proved: it was proved at the look, is lasting, and no lasting work has been done since that could undo it.
still_proved() {
    case $WORKED:$4 in
        :*lasting*) is_proved "$1" ;;
        *) return 1 ;;
    esac
}

count_done() {
    case $4 in
        *goes*) INSIDE="$INSIDE [$1]" ;;
        *back*) DONE="$1_$2 $DONE" ;;
    esac
}

work_on() {
    : >"$WORK/missed"
    case $4 in
        *guard*) "guard_$1_$2" now || stopped "$1" 'A guard does not hold; this action has not begun.' || return 1 ;;
    esac
    case $4 in
        *lasting*)
            note_plan "$@" || stopped "$1" 'What is carried out here could not be noted; this action has not begun.' || return 1
            CHANGED=yes WORKED=yes
            ;;
        *change*) CHANGED=yes ;;
    esac
    case $4 in
        *close*)
            keep_papers
            keep_log
            ;;
    esac
    case $4 in
        *back*) BEGUN="$1_$2" ;;
    esac
    "do_$1_$2" || stopped "$1" 'A command failed.' || return 1
    : >"$WORK/missed"
    case $4 in
        *proof*) "proof_$1_$2" || stopped "$1" 'The work is done, but its proof does not hold.' || return 1 ;;
    esac
    case $4 in
        *stamp*) run verb_put_stamp "${5%%=*}" "${5#*=}" || stopped "$1" 'The stamp could not be written.' || return 1 ;;
    esac
    case $4 in
        *lasting*) note_done "$@" || return 1 ;;
    esac
    BEGUN=
}

# print_next: what is left to do after this script, at the first start of the machine.
print_next() {
    [ "$3" = 'first boot' ] || return 0
    show_action "$@"
}

# note_plan NUMBER NAME...: before anything is written into the new system, it is told which plan is carried out there:
# --undo goes by that.
note_plan() {
    [ -z "$NOTED" ] && [ -n "$ROOT_UUID" ] && mountpoint -q "$TARGET" || return 0
    record_plan || return 1
    NOTED=yes
}

# note_done NUMBER NAME...: for the way back of a change.
note_done() {
    :
}

record_plan() {
    mkdir -p -- "$TARGET/var/lib/bedplate/specs/$DIGEST" && papers paper_keep 2>"$WORK/found" && sync
}

# keep_log: a copy for the installed machine, for root only.
keep_log() {
    [ "$MODE" = install ] && [ -d "$TARGET/var/lib" ] || return 0
    verb_write_file "$TARGET/var/lib/bedplate/install.log" 600 "$NEEDED_UID:$NEEDED_UID" <"$LOG" 2>"$WORK/found" ||
        say 'The log could not be copied to the target.'
}

# keep_papers: spec, what it extends, and survey, for root only: they can be compiled again on any other machine.
keep_papers() {
    [ ! -d "$TARGET/var/lib" ] || put_papers
}

# put_papers: each form of the spec has a folder of its own, and the link `spec` leads to the one that counts.
put_papers() {
    if papers paper_keep 2>"$WORK/found" && ln -sfn -- "specs/$DIGEST" "$TARGET/var/lib/bedplate/spec"; then
        return 0
    fi
    say 'Spec and survey could not be copied into the new system.'
}

# paper_keep NAME (the file on standard input): what `papers` calls for each.
paper_keep() {
    verb_write_file "$TARGET/var/lib/bedplate/specs/$DIGEST/$1" 600 "$NEEDED_UID:$NEEDED_UID"
}
