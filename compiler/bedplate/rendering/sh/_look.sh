# --- runtime: what is done already -------------------------------------------------------------------------------------

# look_around: which actions are done. Where the way to the target is done, it is opened for the look and closed again.
look_around() {
    REACHING=yes TABLE_READ=
    find_copies || return 1
    for_each_action look || return 1
    case $MODE in
        undo) look_for_record && look_at_partitions || return 1 ;;
    esac
    stop_looking
}

look() {
    [ "$3" != 'first boot' ] || return 0
    if proved "$@"; then
        PROVED="$PROVED$1 "
        case $4 in
            *ours*) EARLIER=yes HELD=yes ;;
        esac
        return 0
    fi
    case $4 in
        *ours*) HELD= ;;
    esac
    case $4 in
        *reach*) reach "$@" ;;
    esac
}

# reach: an action on the way to the target does not hold. Where it is lasting work, the way ends here; --undo goes on.
reach() {
    [ -n "$REACHING" ] || return 0
    [ "$MODE" != undo ] || root_lies_there || return 0
    case $4 in
        *peek*)
            case $4 in
                *guard*) "guard_$1_$2" early || REACHING= ;;
            esac
            [ -z "$REACHING" ] || peek "$@"
            return
            ;;
        *lasting*) [ "$MODE" = undo ] || REACHING= ;;
        # What is strange on the disk does not stop --undo later: whose work it is has to be read before, without a change.
        *guard*) "guard_$1_$2" early || [ "$MODE" = undo ] || REACHING= ;;
    esac
    return 0
}

# peek: get at the target without changing it, where nothing of somebody else's is in the way. Where that takes a passphrase, it is asked for now.
peek() {
    # Whatever became of one partition, --undo looks for the others; but no passphrase is asked for where no container is.
    case $MODE:$HELD:$4 in
        undo::*secret*)
            PASSED="$PASSED$1 "
            return 0
            ;;
    esac
    PEEKED="$1_$2 $PEEKED"
    case $4 in
        *secret*) open_for_look "$1_$2" || return 1 ;;
        *) "peek_$1_$2" || REACHING= ;;
    esac
    if [ -n "$REACHING" ] && proved "$@"; then
        PROVED="$PROVED$1 "
    elif [ "$MODE" != undo ]; then
        REACHING=
    fi
    return 0
}

open_for_look() {
    say ''
    say 'Some of this was done before. To see how far it came, its encrypted container has to be opened.'
    for_each_action load_keys || return 1
    r_opening=0
    while "secrets_$1"; do
        "peek_$1" && return 0
        rm -f -- "$WORK"/secret-*
        r_opening=$((r_opening + 1))
        say 'It does not open with that.'
        [ "$r_opening" -lt 3 ] || return 1
    done
    return 1
}

# stop_looking: end what was opened for a look, the last first.
stop_looking() {
    r_peeked=$PEEKED PEEKED=''
    [ -n "$r_peeked" ] || return 0
    QUIET=yes
    for r_action in $r_peeked; do
        if ! "back_$r_action"; then
            QUIET=
            say 'What was opened for a look could not be closed again. The last lines of the log:'
            tail -n 4 "$LOG" | plainly >&4
            return 1
        fi
    done
    QUIET=
}

is_proved() {
    case $PROVED in
        *" $1 "*) return 0 ;;
    esac
    return 1
}

# proved: the stamp is there, if the action has one, and every proof holds; an action without either never is.
proved() {
    : >"$WORK/missed"
    case $4 in
        *stamp*) verb_stamp_is "${5%%=*}" "${5#*=}" >"$WORK/found" 2>&1 || return 1 ;;
        *proof*) ;;
        *) return 1 ;;
    esac
    case $4 in
        *proof*) "proof_$1_$2" || return 1 ;;
    esac
}

# load_keys: passwords are typed on the keymap they will be typed on later.
load_keys() {
    case $4 in
        *keys*)
            proved "$@" || "do_$1_$2" && return 0
            unexplained "It did not work: $6"
            return 1
            ;;
    esac
}
