# mend-table: where a power cut left two copies of the table of $DISK that differ, write both anew from the one that
# sfdisk reads; otherwise nothing is written.
# uses: table-is-sound table-read
verb_mend_table() {
    verb_table_is_sound 2>/dev/null && return 0
    verb_table_read || return 1
    v_id=$(sed -n 's/^label-id: //p' "$WORK/table")
    say '    A power cut left two copies of the partition table that differ; both are written anew.'
    # Setting the GUID it has changes nothing, and writes both copies (sfdisk(8), --disk-id).
    sfdisk --lock=yes --disk-id "$DISK" "$v_id" || return 1
    TABLE_READ=
    verb_table_is_sound
}
