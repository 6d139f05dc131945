# copies-fit FOLDER any|plan: the copies in FOLDER are whole, of this machine and disk (and plan), and show the state before
# our work: either partitions of ours are in the table, and nothing later is ever copied; or all is still as copied.
# uses: copies-are-whole ours-in-table state-of-before
verb_copies_fit() {
    {
        printf 'machine: %s\ndisk: %s\n' "$MACHINE" "$COPY_OF"
        [ "$2" = any ] || printf 'plan: %s\n' "$DIGEST"
    } >"$WORK/about"
    [ -s "$1/about" ] || return 1
    while IFS= read -r v_line; do
        grep -Fqx -e "$v_line" "$1/about" || return 1
    done <"$WORK/about"
    verb_copies_are_whole "$1" 2>/dev/null || return 1
    ! verb_ours_in_table || return 0
    mkdir -p -- "$WORK/seen" && rm -f -- "$WORK/seen"/* && verb_state_of_before "$WORK/seen" lists || return 1
    for v_file in "$WORK/seen"/*; do
        cmp -s -- "$v_file" "$1/${v_file##*/}" || return 1
    done
    for v_file in "$1"/Boot*; do
        [ ! -e "$v_file" ] || [ -e "$WORK/seen/${v_file##*/}" ] || return 1
    done
}
