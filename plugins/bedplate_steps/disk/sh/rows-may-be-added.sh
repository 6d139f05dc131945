# rows-may-be-added [PARTUUID MARK]...: as long as one of these rows is lacking in the table of $DISK, no other of them has
# another name than its MARK: a row that is lacking beside a finished one was deleted, and can be put back.
# uses: table-dump table-row
verb_rows_may_be_added() {
    verb_table_dump || return 0
    v_lacking='' v_finished=''
    while [ $# -ge 2 ]; do
        if ! verb_table_row "$1" 2>/dev/null; then
            v_lacking="$v_lacking $1"
        elif [ "$v_row_name" != "$2" ]; then
            v_finished="$v_finished $v_row_name"
        fi
        shift 2
    done
    [ -z "$v_lacking" ] || [ -z "$v_finished" ] && return 0
    printf 'finished:%s; not in the table:%s\n' "$v_finished" "$v_lacking" >&2
    return 1
}
