# boot-entry-is one|some PARTUUID LOADER: exactly one, or at least one, active boot entry starts LOADER from that partition.
# uses: boot-entry-numbers
verb_boot_entry_is() {
    verb_boot_entry_numbers "$2" "$3" >"$WORK/numbers" || return 1
    v_count=$(grep -c . "$WORK/numbers")
    [ "$v_count" -eq 1 ] && return 0
    [ "$1" = some ] && [ "$v_count" -gt 0 ] && return 0
    printf 'the firmware has %s active entries for %s on partition %s\n' "$v_count" "$3" "$2" >&2
    return 1
}
