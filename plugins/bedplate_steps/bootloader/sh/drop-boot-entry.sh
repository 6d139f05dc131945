# drop-boot-entry PARTUUID LABEL LOADER: delete the boot entries that start LOADER from that partition under our name. The
# boot order is that of now without them. Nothing is touched where nothing was saved: then none of the entries is ours. One
# that was there before stays; one of another name is left.
# uses: boot-entry-numbers boot-order leave line-in
verb_drop_boot_entry() {
    v_keep=$TARGET/var/lib/bedplate/boot v_tail=-8be4df61-93ca-11d2-aa0d-00e098032b8c
    [ -e "$v_keep/complete" ] || return 0
    verb_boot_entry_numbers "$1" "$3" >"$WORK/starting" || return 1
    verb_boot_order >"$WORK/order-now" || return 1
    # Four digits of hexadecimal for each letter of the title, low byte first, and four zeros (UEFI 2.10, 3.1.3).
    v_title=$(printf '%s' "$2" | od -An -v -tx1 | sed 's/ \(..\)/\100/g' | tr -d '\n')0000
    [ "$v_title" != 0000 ] || return 1 # an entry without a title is not ours
    : >"$WORK/ours" && : >"$WORK/boot-started" || return 1
    while IFS= read -r v_number; do
        v_file=/sys/firmware/efi/efivars/Boot$v_number$v_tail
        # Not cmp -s: on files of efivarfs it always finds a difference.
        if cmp -- "$v_keep/Boot$v_number$v_tail" "$v_file" >"$WORK/compared" 2>&1; then
            verb_drop_boot_entry_keeps "$3"
            continue
        fi
        v_bytes=$(od -An -v -tx1 "$v_file") || return 1
        # Four bytes of attributes, then four more and two of a length, then the title.
        # shellcheck disable=SC2086 # joined: a word is a byte
        v_bytes=$(printf '%s' $v_bytes)
        [ ! -e "$v_keep/Boot$v_number$v_tail" ] || v_bytes=
        case $v_bytes in
            ????????????????????"$v_title"*) printf '%s\n' "$v_number" >>"$WORK/ours" ;;
            *)
                verb_drop_boot_entry_keeps "$3"
                verb_leave "the boot entry Boot$v_number, which starts $3 and is not the one that this script made as $2" || return 1
                ;;
        esac
    done <"$WORK/starting"
    [ -s "$WORK/ours" ] || return 0
    while IFS= read -r v_number; do
        efibootmgr -q -b "$v_number" -B || return 1
    done <"$WORK/ours"
    v_order=
    while IFS= read -r v_number; do
        [ -z "$v_number" ] || verb_line_in "$WORK/ours" "$v_number" || v_order=$v_order${v_order:+,}$v_number
    done <"$WORK/order-now"
    verb_boot_order >"$WORK/order-then" || return 1
    [ "$(tr '\n' , <"$WORK/order-then")" = "$v_order${v_order:+,}" ] || [ -z "$v_order" ] || efibootmgr -q -o "$v_order"
}

# What an entry of others starts is not taken away from under it.
verb_drop_boot_entry_keeps() {
    printf '.%s\n' "$1" | sed 's|\\|/|g' >>"$WORK/boot-started"
}
