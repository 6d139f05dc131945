# copies-are-made: the copies of the state before are at hand, and each file of them is what its digest says; or, where the
# person wants none, the lists of this run.
# uses: copies-are-whole
verb_copies_are_made() {
    if [ -z "$COPIES" ]; then
        printf 'there are no copies of the state before\n' >&2
        return 1
    fi
    [ -z "$NO_COPIES" ] || return 0
    verb_copies_are_whole "$COPIES"
}
