# drop-boot-entry PARTUUID LOADER: delete our boot entries and put the saved boot order back, less what is gone since.
# uses: boot-entry-numbers boot-order
verb_drop_boot_entry() {
    verb_boot_entry_numbers "$1" "$2" >"$WORK/ours" || return 1
    while IFS= read -r v_number; do
        efibootmgr -q -b "$v_number" -B || return 1
    done <"$WORK/ours"
    v_saved=$TARGET/var/lib/bedplate/boot/BootOrder-8be4df61-93ca-11d2-aa0d-00e098032b8c
    [ -e "$v_saved" ] || return 0
    verb_boot_order "$v_saved" >"$WORK/order-saved" || return 1
    v_order=
    while IFS= read -r v_number; do
        [ -z "$v_number" ] || [ ! -e "/sys/firmware/efi/efivars/Boot$v_number-8be4df61-93ca-11d2-aa0d-00e098032b8c" ] ||
            v_order=$v_order${v_order:+,}$v_number
    done <"$WORK/order-saved"
    [ -z "$v_order" ] || efibootmgr -q -o "$v_order" || return 1
}
