# apt-keyring KEYRING: the keys that a source's signature is verified with, in one file for gpgv, "$WORK/keyring": those
# of the entry's own options (v_options), else KEYRING, else those that apt on this medium trusts.
verb_apt_keyring() {
    case $v_options in
        *signed-by=/*)
            v_keys=${v_options#*signed-by=}
            v_keys=$(printf '%s' "${v_keys%%[] ]*}" | tr ',' ' ')
            ;;
        *) v_keys=${1:-/etc/apt/trusted.gpg /etc/apt/trusted.gpg.d/* /usr/share/keyrings/*-archive-keyring.gpg} ;;
    esac
    v_looked='' v_armour=
    : >"$WORK/keyring" || return 1
    # shellcheck disable=SC2086 # names and patterns from above
    for v_file in $v_keys; do
        [ -s "$v_file" ] || continue
        v_looked="$v_looked $v_file"
        read -r v_armour <"$v_file" 2>/dev/null
        case $v_armour in
            # RFC 4880, 6.2: headers, an empty line, Base64, and a checksum that begins with an equals sign.
            -----BEGIN*) sed -n '/^$/,/^[-=]/{/^$/d;/^[-=]/d;p}' "$v_file" | base64 -d >>"$WORK/keyring" || return 1 ;;
            *) cat "$v_file" >>"$WORK/keyring" || return 1 ;;
        esac
    done
    [ -n "$v_looked" ] && return 0
    printf 'no key to verify %s with: %s\n' "$v_url" "$v_keys" >&2
    return 1
}
