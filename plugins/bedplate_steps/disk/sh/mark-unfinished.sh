# mark-unfinished PARTUUID...: the rows of $DISK of these partitions of the plan bear the mark of an unfinished one again; the
# disk may be in use, the kernel knows nothing of names.
# uses: planned-row table-read table-row
verb_mark_unfinished() {
    for v_marked in "$@"; do
        verb_planned_row "$v_marked" && verb_table_read && verb_table_row "$v_marked" || return 1
        # A name in a GPT holds 36 characters (UEFI specification, 5.3.3).
        v_mark=$(printf '%.36s' "unfinished-$v_plan_name")
        [ "$v_row_name" != "$v_mark" ] || continue
        v_number=${v_row_node#"$DISK"}
        sfdisk --part-label --no-reread --no-tell-kernel --lock=yes "$DISK" "${v_number#p}" "$v_mark" || return 1
        TABLE_READ=
    done
    verb_table_read
}
