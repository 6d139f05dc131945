# table-half-written: in one of its copies, the table of $DISK holds a partition that this script makes. Entries lie on
# the 16384 bytes before the last sector and from the third sector on (UEFI specification 5.3.1 and 5.3.3); a GUID has
# its first three fields low byte first.
verb_table_half_written() {
    v_sector=$(lsblk -dnbo LOG-SEC "$DISK" | tr -d ' ')
    v_size=$(lsblk -dnbo SIZE "$DISK" | tr -d ' ')
    {
        od -An -v -tx1 -j "$((2 * v_sector))" -N 16384 "$DISK"
        od -An -v -tx1 -j "$((v_size - v_sector - 16384))" -N 16384 "$DISK"
    } >"$WORK/entries" || return 1
    v_hex=$(tr -d ' \n' <"$WORK/entries")
    for v_guid in ${OUR_PARTITIONS-}; do
        v_guid=$(printf '%s' "$v_guid" | tr 'A-F' 'a-f' |
            sed 's/^\(..\)\(..\)\(..\)\(..\)-\(..\)\(..\)-\(..\)\(..\)-/\4\3\2\1\6\5\8\7/' | tr -d '-')
        case $v_hex in
            *"$v_guid"*) return 0 ;;
        esac
    done
    return 1
}
