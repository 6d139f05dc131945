# add-partition PARTUUID (its row for sfdisk on standard input): append the row to the table of the running machine's
# $DISK, where it is not there yet; every row it had is as it was.
# uses: await-partitions clear-places mend-table table-keeps table-read table-row
verb_add_partition() {
    cat >"$WORK/wanted" || return 1
    verb_mend_table || return 1
    verb_table_read || return 1
    cp -- "$WORK/table" "$WORK/table-had" || return 1
    if ! verb_table_row "$1" 2>/dev/null; then
        verb_clear_places <"$WORK/wanted" || return 1
        # The disk is in use, and stays so: the kernel is told of the new row alone.
        sfdisk --append --no-reread --no-tell-kernel --wipe-partitions always --lock=yes "$DISK" <"$WORK/wanted" ||
            return 1
        TABLE_READ=
    fi
    verb_table_keeps || return 1
    partx --update "$DISK" || return 1
    verb_await_partitions "$1"
}
