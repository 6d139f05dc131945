# table-before OUR-TABLE PARTUUID...: write the table of $DISK as it was before our work into $WORK/before: without the
# partitions named. OUR-TABLE is the disk GUID of a table that is all ours, or -; then there is nothing older to see.
# uses: table-dump table-has table-less
verb_table_before() {
    v_ours=$1
    shift
    if ! verb_table_dump; then
        printf '# There was no partition table on this disk.\n' >"$WORK/before"
    elif [ "$v_ours" != - ] && verb_table_has "label-id: $v_ours"; then
        printf '# The partition table had been replaced when this was written.\n' >"$WORK/before"
    else
        verb_table_less "$WORK/before" "$@" || return 1
    fi
}
