# wpa-file PATH NETWORK wpa-psk|sae HEAD (the passphrase on standard input): HEAD, then the keys of the network with that
# name, then a closing brace. WPA's key is derived by the target's own wpa_passphrase(8); SAE takes the passphrase itself,
# as hexadecimal octets (wpa_supplicant.conf(5)).
# uses: write-file
verb_wpa_file() {
    (umask 077 && cat >"$WORK/passphrase") || return 1
    v_octets=$(od -An -v -tx1 "$WORK/passphrase" | tr -d ' \n')
    v_key=
    if [ "$3" = wpa-psk ]; then
        v_key=$(in_target wpa_passphrase "$2" <"$WORK/passphrase" | sed -n 's/^[[:blank:]]*psk=\([0-9a-f]*\)$/\1/p')
        if [ "${#v_key}" -ne 64 ]; then
            rm -f -- "$WORK/passphrase"
            printf 'wpa_passphrase of the new system made no key of this passphrase\n' >&2
            return 1
        fi
    fi
    rm -f -- "$WORK/passphrase"
    {
        printf '%s' "$4" &&
            { [ -z "$v_key" ] || printf '\tpsk=%s\n' "$v_key"; } &&
            printf '\tsae_password=%s\n}\n' "$v_octets"
    } | verb_write_file "$1" 600 0:0
    v_status=$?
    v_octets='' v_key=''
    return "$v_status"
}
