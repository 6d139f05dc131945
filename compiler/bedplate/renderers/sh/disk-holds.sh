# disk-holds OUR-TABLE CONTENT (the surveyed table on standard input, nothing if there was none: its label and label-id as
# sfdisk dumps them, then a line START SIZE TYPE GUID for each row, - for a row without GUID): what is on $DISK is what
# the survey saw, or the table OUR-TABLE that replaces it, be it half-written. CONTENT is the type blkid told of the
# whole disk; it counts where there are no rows.
# uses: table-dump table-half-written table-has
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
    for v_list in surveyed rows; do
        sed '/^[0-9]* 0 /d' "$WORK/$v_list" | tr 'a-f' 'A-F' | sort >"$WORK/$v_list-sorted" || return 1
    done
    v_kind=$(blkid -p -o value -s TYPE -- "$DISK")
    # Of a GPT whose headers are not whole, sfdisk shows nothing, or its protective MBR as a table of one row.
    if [ -z "$v_kind" ] && ! grep '^[0-9]' "$WORK/rows" | grep -qv ' ee -$' && verb_table_half_written; then
        return 0
    fi
    if ! cmp -s "$WORK/surveyed-sorted" "$WORK/rows-sorted"; then
        printf 'on the disk now:\n' >&2
        sed 's/^/    /' "$WORK/rows" >&2
        [ -s "$WORK/rows" ] || printf '    no partition table\n' >&2
        printf 'the survey saw:\n' >&2
        sed 's/^/    /' "$WORK/surveyed" >&2
        [ -s "$WORK/surveyed" ] || printf '    no partition table\n' >&2
        return 1
    fi
    grep -q '^[0-9]' "$WORK/rows" && return 0
    [ "$v_kind" = "$2" ] && return 0
    printf 'the disk as a whole holds "%s", the survey saw "%s"\n' "$v_kind" "$2" >&2
    return 1
}
