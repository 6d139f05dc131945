# finish-partitions [PARTUUID MARK NAME]...: the rows of $DISK that bear their MARK get their NAME; every other row stays as it
# is. The disk may be in use: the kernel knows nothing of names.
# uses: await-partitions mend-table table-less table-read table-row
verb_finish_partitions() {
    verb_mend_table || return 1
    v_finished='' v_place=0
    for v_word in "$@"; do
        [ $((v_place % 3)) -ne 0 ] || v_finished="$v_finished $v_word"
        v_place=$((v_place + 1))
    done
    verb_table_read || return 1
    # shellcheck disable=SC2086 # GUIDs, one word each
    verb_table_less "$WORK/rest" $v_finished || return 1
    while [ $# -ge 3 ]; do
        verb_table_read && verb_table_row "$1" || return 1
        v_number=${v_row_node#"$DISK"}
        case $v_row_name in
            "$3") ;;
            "$2")
                sfdisk --part-label --no-reread --no-tell-kernel --lock=yes "$DISK" "${v_number#p}" "$3" || return 1
                TABLE_READ=
                ;;
            *)
                printf '%s is named "%s", not "%s"\n' "$v_row_node" "$v_row_name" "$2" >&2
                return 1
                ;;
        esac
        shift 3
    done
    verb_table_read || return 1
    # shellcheck disable=SC2086 # GUIDs, one word each
    verb_table_less "$WORK/rest-now" $v_finished || return 1
    if ! cmp -s -- "$WORK/rest" "$WORK/rest-now"; then
        printf 'another row of the table has changed as well; it is now:\n' >&2
        cat "$WORK/table" >&2
        return 1
    fi
    # shellcheck disable=SC2086 # GUIDs, one word each
    verb_await_partitions $v_finished
}
