# table-is-sound: both copies of the table of $DISK are whole and say the same: the checksum of the entries stands at
# byte 88 of each header (UEFI specification, 5.3.2).
# uses: table-dump
verb_table_is_sound() {
    if ! verb_table_dump || { [ -s "$WORK/table-words" ] && grep -qi corrupt "$WORK/table-words"; }; then
        cat "$WORK/table-words" >&2
        return 1
    fi
    read -r v_size v_sector <<END_OF_SIZES
$(lsblk -dnbo SIZE,LOG-SEC -- "$DISK")
END_OF_SIZES
    if [ -z "$v_sector" ]; then
        printf 'lsblk does not tell size and sectors of %s\n' "$DISK" >&2
        return 1
    fi
    v_first=$(od -An -tx4 -j "$((v_sector + 88))" -N 4 "$DISK") || return 1
    v_second=$(od -An -tx4 -j "$((v_size - v_sector + 88))" -N 4 "$DISK") || return 1
    [ "$v_first" = "$v_second" ] && return 0
    printf 'the two copies of the partition table differ\n' >&2
    return 1
}
