# disk-is-built-in: $DISK cannot be unplugged, as far as lsblk(8) can tell: it is not removable, nor on USB, FireWire (sbp) or a
# card reader. What is soldered in (eMMC) counts as hot-plug, too; the kernel calls its card type MMC, that of a card SD.
# Not every version of lsblk has a word for how such a card is connected.
verb_disk_is_built_in() {
    v_how=$(lsblk -dnPo TRAN,RM,HOTPLUG "$DISK") || return 1
    case $v_how in
        *'"usb"'* | *'"sbp"'* | *'RM="1"'*) ;;
        'TRAN="mmc" RM="0" HOTPLUG="1"' | 'TRAN="" RM="0" HOTPLUG="1"')
            v_how="$v_how, a memory card"
            ! grep -qx MMC "/sys/class/block/${DISK##*/}/device/type" || return 0
            ;;
        *'RM="0" HOTPLUG="0"') return 0 ;;
    esac
    printf '%s can be unplugged (%s)\n' "$DISK" "${v_how:-lsblk says nothing}" >&2
    return 1
}
