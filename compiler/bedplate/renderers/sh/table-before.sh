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
        cp -- "$WORK/table" "$WORK/before" || return 1
        for v_uuid in "$@"; do
            sed "/, uuid=$v_uuid\$/d; /, uuid=$v_uuid, /d" "$WORK/before" >"$WORK/before-less" || return 1
            mv -f -- "$WORK/before-less" "$WORK/before" || return 1
        done
    fi
}
