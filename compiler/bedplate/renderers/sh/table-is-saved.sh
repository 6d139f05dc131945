# table-is-saved FILE OUR-TABLE PARTUUID...: FILE holds the table of $DISK as it was before our work.
# uses: table-before
verb_table_is_saved() {
    v_file=$1
    shift
    verb_table_before "$@" || return 1
    if [ -s "$v_file" ] && { cmp -s -- "$v_file" "$WORK/before" || grep -q '^# .* had been replaced' "$WORK/before"; }; then
        return 0
    fi
    printf '%s is missing or holds another table\n' "$v_file" >&2
    return 1
}
