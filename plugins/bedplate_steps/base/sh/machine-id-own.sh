# machine-id-own: /etc/machine-id holds 32 hexadecimal digits, and they are not those of the live medium.
verb_machine_id_own() {
    v_id=
    [ ! -f "$TARGET/etc/machine-id" ] || IFS= read -r v_id <"$TARGET/etc/machine-id"
    case $v_id in
        '' | *[!0-9a-f]* | 00000000000000000000000000000000)
            printf 'there is no machine-id, only "%s"\n' "$v_id" >&2
            return 1
            ;;
    esac
    if [ "${#v_id}" -ne 32 ]; then
        printf 'the machine-id has %s digits, not 32\n' "${#v_id}" >&2
        return 1
    fi
    if [ -n "$TARGET" ] && [ -f /etc/machine-id ] && [ "$v_id" = "$(cat /etc/machine-id)" ]; then
        printf 'the machine-id is that of the live medium\n' >&2
        return 1
    fi
}
