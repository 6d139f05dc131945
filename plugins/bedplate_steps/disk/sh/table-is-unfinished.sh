# table-is-unfinished OUR-TABLE PARTUUID...: where $DISK has our own table, be it half-written, it has no rows but these, and
# each is still named as unfinished. In an entry the name stands 24 bytes behind the GUID, two bytes a letter (UEFI
# specification, 5.3.3).
# uses: guid-on-disk next-row table-dump table-entries table-has
verb_table_is_unfinished() {
    v_ours=$1
    shift
    verb_table_entries || return 1
    for v_uuid in "$@"; do
        verb_guid_on_disk "$v_uuid"
        v_left=$v_hex
        while [ "$v_left" != "${v_left#*"$v_guid"}" ]; do
            v_left=${v_left#*"$v_guid"}
            case $v_left in
                ????????????????????????????????????????????????75006e00660069006e00690073006800650064002d00*) ;;
                *)
                    printf 'the partition %s of this very plan is finished: the table is not made anew over it\n' \
                        "$v_uuid" >&2
                    return 1
                    ;;
            esac
        done
    done
    verb_table_dump && verb_table_has "label-id: $v_ours" || return 0
    v_rows=$TABLE
    while verb_next_row; do
        case " $* " in
            *" $v_row_uuid "*) continue ;;
        esac
        printf 'somebody added the partition %s "%s" to it: the table is not made anew over it\n' \
            "$v_row_uuid" "$v_row_name" >&2
        return 1
    done
}
