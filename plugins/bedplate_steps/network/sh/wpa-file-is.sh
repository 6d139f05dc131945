# wpa-file-is PATH OCTETS wpa-psk|sae: the file of wpa_supplicant names the network (in hexadecimal octets) and holds the
# keys it takes, whole. No key is printed.
verb_wpa_file_is() {
    v_blank='[[:blank:]]*'
    if ! grep -qx -e "${v_blank}ssid=$2" -- "$1" 2>/dev/null; then
        printf '%s does not name the network\n' "$1" >&2
        return 1
    fi
    if ! grep -Eqx -e "${v_blank}sae_password=([0-9a-f]{2})+" -- "$1" || [ "$(tail -n 1 -- "$1")" != '}' ]; then
        printf '%s has no passphrase, or is cut short\n' "$1" >&2
        return 1
    fi
    if [ "$3" = wpa-psk ] && ! grep -Eqx -e "${v_blank}psk=[0-9a-f]{64}" -- "$1"; then
        printf '%s has no key of 64 hexadecimal digits\n' "$1" >&2
        return 1
    fi
}
