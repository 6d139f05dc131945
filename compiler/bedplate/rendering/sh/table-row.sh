# table-row PARTUUID: find the row with that unique GUID (upper case) in the table that was read; sets what next-row sets.
# uses: next-row
verb_table_row() {
    v_rows=$TABLE
    while verb_next_row; do
        [ "$v_row_uuid" != "$1" ] || return 0
    done
    printf 'the partition table has no partition %s\n' "$1" >&2
    return 1
}
