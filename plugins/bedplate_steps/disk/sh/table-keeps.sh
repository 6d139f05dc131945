# table-keeps: every row that $WORK/table-had names is in the table of $DISK, letter for letter.
# uses: table-has table-read
verb_table_keeps() {
    verb_table_read || return 1
    sed -n '/ : start=/p' "$WORK/table-had" >"$WORK/rows-had" || return 1
    while IFS= read -r v_line; do
        if ! verb_table_has "$v_line"; then
            printf 'a row of the table has changed or is gone: %s\n' "$v_line" >&2
            return 1
        fi
    done <"$WORK/rows-had"
}
