# make-table PARTUUID... (a script for sfdisk on standard input): make a new table on $DISK. Everything on it is lost. It is
# written without rows first: from then on its GUID says whose work was cut off, before anything that lay there is emptied.
# uses: await-partitions clear-places
verb_make_table() {
    cat >"$WORK/wanted" || return 1
    grep -v '^start=' "$WORK/wanted" | sfdisk --wipe always --lock=yes "$DISK" || return 1
    TABLE_READ=
    verb_clear_places <"$WORK/wanted" || return 1
    sfdisk --wipe always --wipe-partitions always --lock=yes "$DISK" <"$WORK/wanted" || return 1
    TABLE_READ=
    verb_await_partitions "$@"
}
