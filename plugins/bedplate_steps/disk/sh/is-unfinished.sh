# is-unfinished PARTUUID MARK WHERE TYPE UUID LABEL: $DISK has no such partition yet, or its row still bears MARK. What has
# another name was finished once: what is seen on it is put into words.
# uses: contents-read partition-node table-dump table-row
verb_is_unfinished() {
    verb_table_dump && verb_table_row "$1" 2>/dev/null || return 0
    [ "$v_row_name" != "$2" ] || return 0
    printf 'the partition "%s" is finished, and stays as it is: only one named "%s" is made anew\n' "$v_row_name" "$2" >&2
    verb_partition_node "$3" || return 1
    if [ ! -b "$v_node" ]; then
        printf '%s is not there: what is on it cannot be seen\n' "$v_node" >&2
        return 1
    fi
    verb_contents_read "$v_node"
    case $v_status:$v_type:$v_uuid in
        "0:$4:$5")
            printf 'its label is "%s", planned is "%s": set that on %s, or write what it has into the spec\n' \
                "$v_label" "$6" "$v_node" >&2
            ;;
        [02]::)
            printf 'nothing is seen on %s: its %s may only be damaged, and can then be recovered from its copies\n' \
                "$v_node" "$4" >&2
            printf 'write nothing to it; if it never held anything, take the installation back with --undo\n' >&2
            ;;
        *)
            printf '%s holds %s, UUID %s, label "%s" (blkid: %s); planned is %s, UUID %s\n' \
                "$v_node" "${v_type:-something}" "${v_uuid:-none}" "$v_label" "$v_status" "$4" "$5" >&2
            printf 'somebody made something else of it: describe it in the spec as it is, and compile again\n' >&2
            ;;
    esac
    return 1
}
