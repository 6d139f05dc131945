# table-row PARTUUID: find the row with that unique GUID (upper case) in $WORK/table; sets v_row_node, v_row_start,
# v_row_size, v_row_type and v_row_rest (name and attributes as sfdisk prints them).
# shellcheck disable=SC2034 # read by the verbs that use this one
verb_table_row() {
    while IFS= read -r v_row; do
        # A name comes after the GUID, so what looks like fields in it is never the first.
        case $v_row in
            *' : start='*', size='*', type='*', uuid='*) ;;
            *) continue ;;
        esac
        v_row_rest=${v_row#*, uuid=}
        case $v_row_rest in
            "$1") v_row_rest= ;;
            "$1,"*) v_row_rest=${v_row_rest#"$1"} ;;
            *) continue ;;
        esac
        v_row_node=${v_row%% *}
        v_row=${v_row#*: start=}
        v_row_start=${v_row%%,*} v_row_start=${v_row_start##* }
        v_row=${v_row#*, size=}
        v_row_size=${v_row%%,*} v_row_size=${v_row_size##* }
        v_row=${v_row#*, type=}
        v_row_type=${v_row%%,*}
        return 0
    done <"$WORK/table"
    printf 'the partition table has no partition %s\n' "$1" >&2
    return 1
}
