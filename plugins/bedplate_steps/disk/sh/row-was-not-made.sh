# row-was-not-made PARTUUID: $DISK has the partition, or this plan has never been carried out: a row that is lacking
# after that was deleted.
# uses: table-dump table-row
verb_row_was_not_made() {
    [ "$(readlink -- "$TARGET/var/lib/bedplate/spec")" = "specs/${DIGEST:?}" ] || return 0
    verb_table_dump && verb_table_row "$1"
}
