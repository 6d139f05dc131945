# boot-store-has-room KIB: the firmware's variable store has that many KiB left. Older kernels do not tell; then the
# crash dumps that usually fill it are counted.
verb_boot_store_has_room() {
    v_store=/sys/firmware/efi/efivars
    df -kP "$v_store" >"$WORK/store" || return 1
    v_blocks='' v_left=''
    while read -r _ v_a _ v_b _; do
        v_blocks=$v_a v_left=$v_b
    done <"$WORK/store"
    v_dumps=0
    for v_file in "$v_store"/dump-type0-*; do
        [ ! -e "$v_file" ] || v_dumps=$((v_dumps + 1))
    done
    case $v_blocks in
        0 | '' | *[!0-9]*) [ "$v_dumps" -lt 32 ] && return 0 ;;
        *) [ "$v_left" -ge "$1" ] && return 0 ;;
    esac
    printf 'the firmware has %s KiB left for boot entries, %s are needed; it holds %s crash dumps\n' \
        "${v_left:--}" "$1" "$v_dumps" >&2
    return 1
}
