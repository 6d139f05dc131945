# boot-entry-stands first|last PARTUUID LOADER: our entry has that place in the firmware's boot order.
# uses: boot-entry-numbers boot-order
verb_boot_entry_stands() {
    verb_boot_entry_numbers "$2" "$3" >"$WORK/numbers" || return 1
    verb_boot_order >"$WORK/order-now" || return 1
    v_end='head'
    [ "$1" = first ] || v_end='tail'
    v_there=$("$v_end" -n 1 "$WORK/order-now")
    [ -n "$v_there" ] && grep -Fqx -e "$v_there" "$WORK/numbers" && return 0
    printf 'entry %s stands %s in the boot order, not ours\n' "${v_there:-none}" "$1" >&2
    return 1
}
