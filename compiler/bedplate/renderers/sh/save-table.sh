# save-table FILE OUR-TABLE PARTUUID...: write the table of $DISK as it was before our work into FILE. A copy that is
# older than our own table stays.
# uses: table-before
verb_save_table() {
    v_file=$1
    shift
    verb_table_before "$@" || return 1
    if [ -s "$v_file" ] && grep -q '^# .* had been replaced' "$WORK/before"; then
        return 0
    fi
    mkdir -p -- "${v_file%/*}" || return 1
    cp -- "$WORK/before" "$v_file.part" || return 1
    sync "$v_file.part" || return 1
    mv -f -- "$v_file.part" "$v_file" || return 1
}
