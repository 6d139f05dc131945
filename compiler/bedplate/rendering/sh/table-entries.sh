# table-entries: set v_hex to the entries of both copies of the table of $DISK as hex digits, whatever state its headers are
# in; empty ones are left out, since dash takes seconds to search 64 KiB of digits. Entries lie on the 16384 bytes before
# the last sector and from the third sector on (UEFI specification 5.3.1 and 5.3.3).
verb_table_entries() {
    read -r v_size v_sector <<END_OF_SIZES
$(lsblk -dnbo SIZE,LOG-SEC -- "$DISK")
END_OF_SIZES
    {
        od -An -v -w128 -tx1 -j "$((2 * v_sector))" -N 16384 "$DISK"
        od -An -v -w128 -tx1 -j "$((v_size - v_sector - 16384))" -N 16384 "$DISK"
    } >"$WORK/entries" || return 1
    v_hex=$(sed '/^[ 0]*$/d' "$WORK/entries" | tr -d ' \n')
}
