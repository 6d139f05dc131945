# next-row: take lines of a dump of sfdisk off v_rows, up to its next row; sets v_row_node, v_row_start, v_row_size (in
# sectors), v_row_type, v_row_uuid, v_row_rest (name and attributes as sfdisk prints them) and v_row_name; 1 if none is left.
# shellcheck disable=SC2034 # read by the verbs that use this one
verb_next_row() {
    while [ -n "$v_rows" ]; do
        v_row=${v_rows%%"$NEW_LINE"*}
        v_rows=${v_rows#"$v_row"} v_rows=${v_rows#"$NEW_LINE"}
        # A name comes after the GUID, so what looks like fields in it is never the first.
        case $v_row in
            *' : start='*', size='*', type='*', uuid='*) ;;
            *) continue ;;
        esac
        v_row_node=${v_row%% *}
        v_row=${v_row#*: start=}
        v_row_start=${v_row%%,*} v_row_start=${v_row_start##* }
        v_row=${v_row#*, size=}
        v_row_size=${v_row%%,*} v_row_size=${v_row_size##* }
        v_row=${v_row#*, type=}
        v_row_type=${v_row%%,*}
        v_row=${v_row#*, uuid=}
        v_row_uuid=${v_row%%,*}
        v_row_rest=${v_row#"$v_row_uuid"}
        v_row_name=${v_row_rest#', name="'}
        [ "$v_row_name" != "$v_row_rest" ] || v_row_name='"'
        v_row_name=${v_row_name%'", attrs="'*} v_row_name=${v_row_name%'"'}
        return 0
    done
    return 1
}
