# disk-holds OUR-TABLE (what the survey saw on standard input, nothing for a blank disk: label and label-id as sfdisk dumps
# them; `disk TYPE UUID` for each signature on the disk itself, UUID may be missing; START SIZE TYPE GUID CONTENT UUID
# for each row, - for what it has not): what is on $DISK is what the survey saw, or the table OUR-TABLE that replaces
# it, be it half-written.
# uses: disk-contents row-contents table-dump table-half-written table-has
verb_disk_holds() {
    sed '/^$/d' >"$WORK/surveyed" || return 1
    if verb_table_dump; then
        ! verb_table_has "label-id: $1" || return 0
    elif ! grep -q 'does not contain a recognized partition table' "$WORK/table-words"; then
        cat "$WORK/table-words" >&2
        return 1
    fi
    sed -n -e '/^label: /p' -e '/^label-id: /p' \
        -e 's/^[^ ]* *: start= *\([0-9]*\), size= *\([0-9]*\), type= *\([^,]*\), uuid=\([^,]*\).*$/\1 \2 \3 \4/p' -e t \
        -e 's/^[^ ]* *: start= *\([0-9]*\), size= *\([0-9]*\), type= *\([^,]*\).*$/\1 \2 \3 -/p' \
        "$WORK/table" >"$WORK/rows" || return 1
    # Of a GPT whose headers are not whole, sfdisk shows nothing, or its protective MBR as a table of one row.
    if ! grep '^[0-9]' "$WORK/rows" | grep -qv ' ee -$' && verb_table_half_written; then
        : | verb_disk_contents tables && return 0
    fi
    verb_row_contents <"$WORK/rows" >"$WORK/contents" || return 1
    grep '^disk ' "$WORK/surveyed" | verb_disk_contents "${TABLE:+tables}" || return 1
    for v_list in surveyed contents; do
        sed -e '/^[0-9]* 0 /d' -e '/^disk /d' "$WORK/$v_list" | tr 'a-f' 'A-F' | sort >"$WORK/$v_list-sorted" || return 1
    done
    ! cmp -s "$WORK/surveyed-sorted" "$WORK/contents-sorted" || return 0
    v_rest=$(grep -vixF -f "$WORK/surveyed" "$WORK/contents")
    [ -z "$v_rest" ] || printf 'on the disk now, and not in the survey:\n%s\n' "$v_rest" >&2
    v_rest=$(grep -v '^disk ' "$WORK/surveyed" | grep -vixF -f "$WORK/contents")
    [ -z "$v_rest" ] || printf 'in the survey, and not on the disk now:\n%s\n' "$v_rest" >&2
    return 1
}
