# make-boot-entry PARTUUID LABEL LOADER first|last short|full: leave exactly one active entry for LOADER on that partition,
# at that place in the boot order. Every other entry stays, and keeps its place among the others.
# uses: boot-entry-numbers boot-order line-in
verb_make_boot_entry() {
    v_device=$(readlink -f -- "/dev/disk/by-partuuid/$1") || return 1
    v_block=${v_device##*/}
    if [ ! -b "$v_device" ] || ! IFS= read -r v_partition <"/sys/class/block/$v_block/partition"; then
        printf 'there is no partition with the UUID %s\n' "$1" >&2
        return 1
    fi
    verb_boot_order >"$WORK/order-before" || return 1
    verb_boot_entry_numbers "$1" "$3" >"$WORK/ours" || return 1
    if [ ! -s "$WORK/ours" ]; then
        set -- "$@" -q -c -d "$DISK" -p "$v_partition" -L "$2" -l "$3"
        [ "$5" = short ] || set -- "$@" -e 3
        verb_make_boot_entry_add "$@" || return 1
        verb_boot_entry_numbers "$1" "$3" >"$WORK/ours" || return 1
    fi
    v_ours=
    while IFS= read -r v_number; do
        if [ -z "$v_ours" ]; then
            v_ours=$v_number
        else
            efibootmgr -q -b "$v_number" -B || return 1
        fi
    done <"$WORK/ours"
    if [ -z "$v_ours" ]; then
        printf 'the firmware did not keep the new entry\n' >&2
        return 1
    fi
    v_others=
    while IFS= read -r v_number; do
        [ -z "$v_number" ] || verb_line_in "$WORK/ours" "$v_number" || v_others=$v_others${v_others:+,}$v_number
    done <"$WORK/order-before"
    v_order=$v_ours${v_others:+,}$v_others
    [ "$4" = first ] || v_order=$v_others${v_others:+,}$v_ours
    efibootmgr -q -o "$v_order" || return 1
}

verb_make_boot_entry_add() {
    shift 5
    efibootmgr "$@"
}
