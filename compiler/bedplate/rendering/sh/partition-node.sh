# partition-node WHERE: set v_node to the node of the partition of $DISK with that unique GUID (upper case); a path is itself.
# Links by GUID are not trusted for this: a cloned disk carries the same GUIDs.
# uses: table-read table-row
verb_partition_node() {
    case $1 in
        /*)
            v_node=$1
            return 0
            ;;
    esac
    verb_table_read || return 1
    verb_table_row "$1" || return 1
    v_node=$v_row_node
}
