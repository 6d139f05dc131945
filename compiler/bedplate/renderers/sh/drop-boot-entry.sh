# drop-boot-entry PARTUUID LOADER: delete our boot entries and put the saved boot order back, less what is gone since.
# Nothing is touched where nothing was saved: then none of the entries is ours. One that was there before stays.
# uses: boot-entry-numbers boot-order
verb_drop_boot_entry() {
    v_keep=$TARGET/var/lib/bedplate/boot v_tail=-8be4df61-93ca-11d2-aa0d-00e098032b8c
    [ -e "$v_keep/complete" ] || return 0
    verb_boot_entry_numbers "$1" "$2" >"$WORK/ours" || return 1
    while IFS= read -r v_number; do
        # Not cmp -s: on files of efivarfs it always finds a difference.
        cmp -- "$v_keep/Boot$v_number$v_tail" "/sys/firmware/efi/efivars/Boot$v_number$v_tail" >"$WORK/compared" 2>&1 &&
            continue
        efibootmgr -q -b "$v_number" -B || return 1
    done <"$WORK/ours"
    v_saved=$v_keep/BootOrder$v_tail
    [ -e "$v_saved" ] || return 0
    verb_boot_order "$v_saved" >"$WORK/order-saved" || return 1
    verb_boot_order >"$WORK/order-now" || return 1
    # What was added since stays, behind what was there before.
    grep -Fvx -f "$WORK/order-saved" "$WORK/order-now" >"$WORK/order-since"
    v_order=
    while IFS= read -r v_number; do
        [ -z "$v_number" ] || [ ! -e "/sys/firmware/efi/efivars/Boot$v_number$v_tail" ] ||
            v_order=$v_order${v_order:+,}$v_number
    done <<END_OF_ORDER
$(cat "$WORK/order-saved" "$WORK/order-since")
END_OF_ORDER
    [ -z "$v_order" ] || efibootmgr -q -o "$v_order" || return 1
}
