# table-read: read the partition table of $DISK as table-dump does. One whose copies differ is refused, unless it was our own
# writing of it that was cut short: then the copy that is whole counts.
# uses: table-dump table-half-written
verb_table_read() {
    if ! verb_table_dump; then
        cat "$WORK/table-words" >&2
        return 1
    fi
    # sfdisk reads on with the good copy and exits with 0; only its words tell.
    if [ -s "$WORK/table-words" ] && grep -qi 'corrupt' "$WORK/table-words" && ! verb_table_half_written; then
        cat "$WORK/table-words" >&2
        return 1
    fi
}
