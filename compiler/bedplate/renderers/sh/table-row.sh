# table-row PARTUUID: find the row with that unique GUID (upper case) in $WORK/table; sets v_row_node, v_row_start,
# v_row_size, v_row_type and v_row_rest (name and attributes as sfdisk prints them).
# shellcheck disable=SC2034 # read by the verbs that use this one
verb_table_row() {
    v_row=$(sed -n "s/^\([^ ]*\) *: start= *\([0-9]*\), size= *\([0-9]*\), type=\([0-9A-F-]*\), uuid=$1\(.*\)\$/\2 \3 \4 \1\5/p" "$WORK/table")
    if [ -z "$v_row" ]; then
        printf 'the partition table has no partition %s\n' "$1" >&2
        return 1
    fi
    v_row_start=${v_row%% *} v_row=${v_row#* }
    v_row_size=${v_row%% *} v_row=${v_row#* }
    v_row_type=${v_row%% *} v_row=${v_row#* }
    v_row_node=${v_row%%, *}
    v_row_rest=${v_row#"$v_row_node"}
}
