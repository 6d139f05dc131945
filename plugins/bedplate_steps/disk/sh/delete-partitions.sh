# delete-partitions PARTUUID...: delete those of these partitions of $DISK that are still ours and that nothing uses; every
# other row is as it was afterwards. One that is not ours any more, or in use, is left. While one is in use, the one with
# the new system stays as well: it holds the record by which the next run knows the plan. They bear
# the mark of what is unfinished before anything on them goes, and their rows go last: cut off anywhere, the next run
# knows them.
# uses: clear-places contents-read esp-look leave mark-unfinished mend-table partition-is-idle partition-is-ours planned-row table-less table-read table-row
verb_delete_partitions() {
    verb_mend_table || return 1
    verb_table_read || return 1
    v_doomed='' v_busy='' v_carrier=''
    for v_each_guid in "$@"; do
        verb_table_row "$v_each_guid" 2>/dev/null || continue
        verb_planned_row "$v_each_guid" || return 1
        v_called="the partition $v_row_node ($v_plan_name)"
        if ! verb_partition_is_ours "$v_each_guid" 2>"$WORK/not-ours"; then
            verb_leave "$v_called: $(cat "$WORK/not-ours")" || return 1
        elif ! verb_partition_is_idle "$v_each_guid" 2>"$WORK/not-ours"; then
            v_busy=yes
            verb_leave "$v_called: $(cat "$WORK/not-ours"); end that, and run this again" || return 1
        elif ! verb_no_loader_in "$v_row_node" 2>"$WORK/not-ours"; then
            verb_leave "$v_called: $(cat "$WORK/not-ours")" || return 1
        elif [ "$v_plan_root" = root ]; then
            v_carrier=$v_each_guid v_carried=$v_called
        else
            v_doomed="$v_doomed $v_each_guid"
        fi
    done
    if [ -n "$v_busy" ] && [ -n "$v_carrier" ]; then
        verb_leave "$v_carried: it holds the record of this plan for the next run" || return 1
    else
        v_doomed="$v_doomed $v_carrier"
    fi
    v_numbers=
    : >"$WORK/doomed"
    for v_each_guid in $v_doomed; do
        verb_table_row "$v_each_guid" || return 1
        printf 'start=%s, size=%s, gone\n' "$v_row_start" "$v_row_size" >>"$WORK/doomed"
        v_number=${v_row_node#"$DISK"}
        v_numbers="$v_numbers ${v_number#p}"
    done
    [ -n "$v_numbers" ] || return 0
    # What is taken back is not found again, as what somebody may have lost, when the machine is installed once more.
    # shellcheck disable=SC2086 # GUIDs, one word each
    verb_mark_unfinished $v_doomed && verb_clear_places <"$WORK/doomed" || return 1
    # shellcheck disable=SC2086 # GUIDs, one word each
    verb_table_less "$WORK/rest" $v_doomed || return 1
    # shellcheck disable=SC2086 # numbers, one word each
    sfdisk --delete --lock=yes "$DISK" $v_numbers || return 1
    TABLE_READ=
    verb_table_read || return 1
    if ! cmp -s -- "$WORK/table" "$WORK/rest"; then
        printf 'another row of the table has changed as well; it is now:\n' >&2
        cat "$WORK/table" >&2
        return 1
    fi
}

# What lies for the firmware or a loader on a partition of that type is somebody's: ours has gone before, file by file.
verb_no_loader_in() {
    case $v_plan_type:$v_plan_kind in
        C12A7328-F81F-11D2-BA4B-00A0C93EC93B:vfat | BC13C2FF-59E6-4262-A352-B275FD6F7172:vfat) ;;
        *) return 0 ;;
    esac
    verb_contents_read "$1"
    [ -n "$v_type" ] || return 0
    verb_esp_look "$1" find . -type f >"$WORK/loaders" || return 1
    [ -s "$WORK/loaders" ] || return 0
    printf 'it still holds files: %s\n' "$(head -n 3 "$WORK/loaders" | tr '\n' ' ')" >&2
    return 1
}
