# append-partitions PARTUUID... (rows for sfdisk on standard input): append those rows to the table of $DISK that it does
# not have yet, and see that every row it had is as it was.
# uses: await-partitions clear-places mend-table table-has table-read
verb_append_partitions() {
    cat >"$WORK/wanted" || return 1
    verb_mend_table || return 1
    verb_table_read || return 1
    sed -n '/ : start=/p' "$WORK/table" >"$WORK/rows-before" || return 1
    : >"$WORK/lacking"
    while IFS= read -r v_line; do
        v_uuid=${v_line##*uuid=}
        grep -Fq "uuid=${v_uuid%%,*}" "$WORK/table" || printf '%s\n' "$v_line" >>"$WORK/lacking"
    done <"$WORK/wanted"
    if [ -s "$WORK/lacking" ]; then
        verb_clear_places <"$WORK/lacking" || return 1
        # Without --append sfdisk would replace the whole table.
        sfdisk --append --wipe-partitions always --lock=yes "$DISK" <"$WORK/lacking" || return 1
        TABLE_READ=
    fi
    verb_table_read || return 1
    while IFS= read -r v_line; do
        if ! verb_table_has "$v_line"; then
            printf 'a row of the table has changed or is gone: %s\n' "$v_line" >&2
            return 1
        fi
    done <"$WORK/rows-before"
    verb_await_partitions "$@"
}
