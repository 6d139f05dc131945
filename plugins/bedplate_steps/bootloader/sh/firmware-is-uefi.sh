# firmware-is-uefi: the machine was started by 64-bit UEFI firmware and its variables can be changed.
verb_firmware_is_uefi() {
    if [ ! -d /sys/firmware/efi ]; then
        printf 'the machine was started in legacy mode: /sys/firmware/efi is missing\n' >&2
        return 1
    fi
    v_bits=64
    [ ! -r /sys/firmware/efi/fw_platform_size ] || IFS= read -r v_bits </sys/firmware/efi/fw_platform_size
    if [ "$v_bits" != 64 ]; then
        printf 'the firmware has %s bits, the loader needs 64\n' "$v_bits" >&2
        return 1
    fi
    v_options=
    grep efivarfs /proc/mounts >"$WORK/efi-mounts"
    while read -r _ v_point v_type v_all _; do
        [ "$v_point $v_type" = '/sys/firmware/efi/efivars efivarfs' ] && v_options=$v_all
    done <"$WORK/efi-mounts"
    case ,$v_options, in
        *,rw,*) return 0 ;;
        ,,) printf 'the firmware variables are not mounted on /sys/firmware/efi/efivars\n' >&2 ;;
        *) printf 'the firmware variables are mounted read-only\n' >&2 ;;
    esac
    return 1
}
