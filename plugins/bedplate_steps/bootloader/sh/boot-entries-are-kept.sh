# boot-entries-are-kept PARTUUID LOADER: every boot entry that was saved is still there, byte for byte, and those that
# stood in the boot order follow one another as before; the entry that starts LOADER from that partition is ours.
# uses: boot-entry-numbers boot-order line-in
verb_boot_entries_are_kept() {
    v_lost=
    for v_saved in "$TARGET"/var/lib/bedplate/boot/Boot[0-9A-F][0-9A-F][0-9A-F][0-9A-F]-*; do
        [ -e "$v_saved" ] || continue
        v_name=${v_saved##*/}
        # Not cmp -s: it looks at places in the files first, which files of efivarfs do not have, and finds a difference.
        cmp -- "$v_saved" "/sys/firmware/efi/efivars/$v_name" >"$WORK/compared" 2>&1 || v_lost="$v_lost ${v_name%%-*}"
    done
    if [ -n "$v_lost" ]; then
        printf 'boot entries changed or gone:%s\n' "$v_lost" >&2
        return 1
    fi
    verb_boot_order "$TARGET/var/lib/bedplate/boot/BootOrder-8be4df61-93ca-11d2-aa0d-00e098032b8c" \
        >"$WORK/order-then" || return 1
    verb_boot_order >"$WORK/order-now" || return 1
    verb_boot_entry_numbers "$1" "$2" >"$WORK/ours" || return 1
    # Without ours, and without what else is new in it.
    : >"$WORK/order-foreign" && : >"$WORK/order-kept" || return 1
    while IFS= read -r v_number; do
        verb_line_in "$WORK/ours" "$v_number" || printf '%s\n' "$v_number" >>"$WORK/order-foreign"
    done <"$WORK/order-then"
    while IFS= read -r v_number; do
        ! verb_line_in "$WORK/order-foreign" "$v_number" || printf '%s\n' "$v_number" >>"$WORK/order-kept"
    done <"$WORK/order-now"
    cmp -s "$WORK/order-foreign" "$WORK/order-kept" && return 0
    printf 'the boot order of the others was %s, now it is %s\n' \
        "$(tr '\n' ' ' <"$WORK/order-foreign")" "$(tr '\n' ' ' <"$WORK/order-kept")" >&2
    return 1
}
