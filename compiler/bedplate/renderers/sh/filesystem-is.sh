# filesystem-is WHERE TYPE UUID LABEL: the device holds exactly that file system; an empty label is no label.
# uses: partition-node
verb_filesystem_is() {
    verb_partition_node "$1" || return 1
    v_known=$(blkid -p -o export -- "$v_node")
    v_status=$?
    v_type='' v_uuid='' v_label=''
    while IFS= read -r v_line; do
        case $v_line in
            TYPE=*) v_type=${v_line#*=} ;;
            UUID=*) v_uuid=${v_line#*=} ;;
            # Some letters are escaped here; then the label is asked for as it is.
            LABEL=*) [ "$v_line" = "LABEL=$4" ] && v_label=$4 || v_label=$(blkid -p -o value -s LABEL -- "$v_node") ;;
        esac
    done <<END_OF_VALUES
$v_known
END_OF_VALUES
    [ "$v_status:$v_type:$v_uuid:$v_label" = "0:$2:$3:$4" ] && return 0
    printf '%s holds: type %s, UUID %s, label %s (blkid: %s)\n' "$v_node" "$v_type" "$v_uuid" "$v_label" "$v_status" >&2
    return 1
}
