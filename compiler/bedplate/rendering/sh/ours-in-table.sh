# ours-in-table: a partition that this script makes is in the table of $DISK.
# uses: table-dump
verb_ours_in_table() {
    verb_table_dump || return 1
    for v_guid in ${OUR_PARTITIONS-}; do
        case $TABLE in
            *"uuid=$v_guid"*) return 0 ;;
        esac
    done
    return 1
}
