# started-by PARTUUID LOADER: the firmware has started this system by an entry for LOADER on that partition.
# uses: boot-entry-numbers boot-order
verb_started_by() {
    verb_boot_entry_numbers "$1" "$2" >"$WORK/numbers" || return 1
    # BootCurrent is one 16-bit number, written like those of the boot order (UEFI 2.10, 3.3).
    verb_boot_order /sys/firmware/efi/efivars/BootCurrent-8be4df61-93ca-11d2-aa0d-00e098032b8c >"$WORK/current" || return 1
    v_current=
    [ ! -s "$WORK/current" ] || IFS= read -r v_current <"$WORK/current"
    [ -n "$v_current" ] && grep -Fqx -e "$v_current" "$WORK/numbers" && return 0
    printf 'the firmware has started entry %s, which is not ours\n' "${v_current:-none}" >&2
    return 1
}
