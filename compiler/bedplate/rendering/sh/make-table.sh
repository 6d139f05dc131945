# make-table PARTUUID... (a script for sfdisk on standard input): make a new table on $DISK. Everything on it is lost.
# uses: await-partitions clear-places
verb_make_table() {
    cat >"$WORK/wanted" || return 1
    verb_clear_places <"$WORK/wanted" || return 1
    sfdisk --wipe always --wipe-partitions always --lock=yes "$DISK" <"$WORK/wanted" || return 1
    TABLE_READ=
    verb_await_partitions "$@"
}
