# --- runtime: the audit -----------------------------------------------------------------------------------------------

usage() {
    cat <<USAGE
sh $0           prove that this machine is $MACHINE as its spec $SPEC says; reads only
sh $0 --help    this text

Run it as root on the installed machine. Exit status: 0 all proofs hold, 1 some do not, 2 wrong use or trouble.
USAGE
}

main() {
    case $#:${1-} in
        0:) ;;
        1:--help)
            usage
            exit 0
            ;;
        1:*) wrong_use "$1" --help ;;
        *) wrong_use "$2" ;;
    esac
    streams_are_open
    exec 4>&1 </dev/null
    if [ "$(id -u)" != "$NEEDED_UID" ]; then
        say 'The audit has to be run as root: some proofs read files that only root may read.'
        exit 2
    fi
    make_scratch || exit 2
    trap wipe_scratch EXIT
    trap 'wipe_scratch; exit 130' HUP INT QUIT PIPE TERM
    HELD=0 MISSED=0
    r_absent=
    if ! DISK=$(find_disk 2>"$WORK/found"); then
        r_absent="The disk of $MACHINE was not found: look first whether this is $MACHINE at all."
        say "$r_absent"
        found >&4
    fi
    prove_all
    if [ "$MISSED" -eq 0 ]; then
        say 'What can be proved on a running machine holds. These remain for a person, where they are not done yet:'
        for_a_person
    fi
    say "$HELD proofs hold, $MISSED do not"
    [ -z "$r_absent" ] || say "$r_absent"
    [ "$MISSED" -eq 0 ] || exit 1
    exit 0
}

# in_target COMMAND...: here the target is the running system itself.
in_target() {
    command "$@"
}

# prove NUMBER NAME TITLE: all proofs of one action, a line for each.
prove() {
    TITLE="[$1/$TOTAL] $3"
    "proof_$1_$2"
}

# expect SAYS OTHERWISE TEST...: one line that says whether the test holds, and what it found where it says so.
expect() {
    r_says=$1 r_otherwise=$2
    shift 2
    if "$@" >"$WORK/found" 2>&1; then
        HELD=$((HELD + 1))
        say "holds    $TITLE: $r_says"
        [ ! -s "$WORK/found" ] || found >&4
        return 0
    fi
    MISSED=$((MISSED + 1))
    say "DOES NOT $TITLE: $r_says"
    found >&4
    [ -z "$r_otherwise" ] || say "        to do:     $r_otherwise"
}
