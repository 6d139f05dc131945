# table-half-written: in one of its copies, the table of $DISK holds a partition that this script makes.
# uses: guid-on-disk table-entries
verb_table_half_written() {
    verb_table_entries || return 1
    for v_guid in ${OUR_PARTITIONS-}; do
        verb_guid_on_disk "$v_guid"
        case $v_hex in
            *"$v_guid"*) return 0 ;;
        esac
    done
    return 1
}
