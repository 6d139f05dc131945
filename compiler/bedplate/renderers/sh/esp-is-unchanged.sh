# esp-is-unchanged ESP: every foreign file on the EFI system partition mounted at ESP is as it was when it was listed.
verb_esp_is_unchanged() {
    v_list=$TARGET/var/lib/bedplate/boot/esp.sha256
    if [ ! -f "$v_list" ]; then
        printf 'the list %s is missing\n' "$v_list" >&2
        return 1
    fi
    [ -s "$v_list" ] || return 0
    case $v_list in
        /*) ;;
        *) v_list=$PWD/$v_list ;;
    esac
    (cd -- "$1" && sha256sum -c -- "$v_list") >"$WORK/compared" 2>&1 && return 0
    grep -v ': OK$' "$WORK/compared" >&2
    return 1
}
