# table-dump: read the partition table of $DISK as sfdisk(8) dumps it, whatever state it is in: into TABLE and $WORK/table, and
# its words into $WORK/table-words. What was read counts until TABLE_READ is emptied: by the runtime before it looks around,
# at every action, after every command and after every wait for the person; by a verb that has written a table itself.
verb_table_dump() {
    [ -z "${TABLE_READ-}" ] || return 0
    TABLE=$(LC_ALL=C sfdisk --dump "$DISK" 2>"$WORK/table-words") && TABLE_READ=yes
    printf '%s' "$TABLE${TABLE:+${NEW_LINE:?}}" >"$WORK/table"
    [ -n "${TABLE_READ-}" ]
}
