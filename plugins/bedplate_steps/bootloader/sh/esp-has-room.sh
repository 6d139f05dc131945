# esp-has-room NODE KIB: the EFI system partition on NODE has that many KiB left.
# uses: esp-look
verb_esp_has_room() {
    verb_esp_look "$1" df -kP . >"$WORK/esp-room" || return 1
    v_left=
    while read -r _ _ _ v_word _; do
        v_left=$v_word
    done <"$WORK/esp-room"
    case $v_left in
        '' | *[!0-9]*) ;;
        *) [ "$v_left" -ge "$2" ] && return 0 ;;
    esac
    printf 'the EFI system partition has %s KiB left, %s are needed\n' "$v_left" "$2" >&2
    return 1
}
