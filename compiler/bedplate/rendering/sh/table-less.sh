# table-less FILE PARTUUID...: write the table that was read into FILE, as sfdisk dumps it, without the rows of these partitions.
verb_table_less() {
    v_less='' v_into=$1
    shift
    # A partition's name has at most 36 characters (UEFI specification, 5.3.3): no GUID fits with `uuid=` before it.
    for v_uuid in "$@"; do
        v_less="$v_less/, uuid=$v_uuid\$/d; /, uuid=$v_uuid, /d; "
    done
    sed "$v_less" "$WORK/table" >"$v_into"
}
