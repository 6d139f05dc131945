# table-is ID FIRST LAST: $DISK has a GPT with that disk GUID (upper case), first and last usable sector.
# uses: table-has table-read
verb_table_is() {
    verb_table_read || return 1
    for v_line in 'label: gpt' "label-id: $1" "first-lba: $2" "last-lba: $3"; do
        if ! verb_table_has "$v_line"; then
            printf 'the partition table has no line "%s"; its head is:\n' "$v_line" >&2
            sed -n '/^[a-z-]*:/p' "$WORK/table" >&2
            return 1
        fi
    done
}
