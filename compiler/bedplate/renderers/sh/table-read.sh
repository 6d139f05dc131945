# table-read: read the partition table of $DISK into $WORK/table (a dump of sfdisk). One whose copies differ is refused,
# unless it was our own writing of it that was cut short: then the copy that is whole counts.
# uses: table-half-written
verb_table_read() {
    if ! LC_ALL=C sfdisk --dump "$DISK" >"$WORK/table" 2>"$WORK/table-words"; then
        cat "$WORK/table-words" >&2
        return 1
    fi
    # sfdisk reads on with the good copy and exits with 0; only its words tell.
    if [ -s "$WORK/table-words" ] && grep -qi 'corrupt' "$WORK/table-words" && ! verb_table_half_written; then
        cat "$WORK/table-words" >&2
        return 1
    fi
}
