# table-before OUR-TABLE PARTUUID...: write the table of $DISK as it was before our work into $WORK/before: without the
# partitions named. OUR-TABLE is the disk GUID of a table that is all ours, or -; then there is nothing older to see.
verb_table_before() {
    v_ours=$1
    shift
    if ! LC_ALL=C sfdisk --dump "$DISK" >"$WORK/table" 2>/dev/null; then
        printf '# There was no partition table on this disk.\n' >"$WORK/before"
    elif [ "$v_ours" != - ] && grep -Fqx -e "label-id: $v_ours" -- "$WORK/table"; then
        printf '# The partition table had been replaced when this was written.\n' >"$WORK/before"
    else
        v_less=
        for v_uuid in "$@"; do
            v_less="$v_less/, uuid=$v_uuid\$/d; /, uuid=$v_uuid, /d; "
        done
        sed "$v_less" "$WORK/table" >"$WORK/before" || return 1
    fi
}
