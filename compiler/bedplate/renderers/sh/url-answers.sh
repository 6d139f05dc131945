# url-answers TRUST URL: the address can be fetched. TRUST is "any" (certificates are not looked at: the live clock may
# still be wrong) or "trusted".
verb_url_answers() {
    case $2 in
        file://*)
            [ -e "${2#file://}" ] && return 0
            printf '%s does not exist on the medium\n' "${2#file://}" >&2
            return 1
            ;;
    esac
    v_lax=
    if command -v curl >/dev/null 2>&1; then
        [ "$1" = trusted ] || v_lax=--insecure
        # shellcheck disable=SC2086 # one word or none
        curl -fsSL --connect-timeout 20 --max-time 60 -o /dev/null $v_lax -- "$2" && return 0
    elif command -v wget >/dev/null 2>&1; then
        [ "$1" = trusted ] || v_lax=--no-check-certificate
        # shellcheck disable=SC2086 # one word or none
        wget -q -T 20 -O /dev/null $v_lax "$2" && return 0
    elif [ -x /usr/lib/apt/apt-helper ]; then
        rm -f "$WORK/fetched"
        /usr/lib/apt/apt-helper download-file "$2" "$WORK/fetched" && return 0
    else
        printf 'the medium has neither curl nor wget to try it with\n' >&2
        return 1
    fi
    printf '%s does not answer\n' "$2" >&2
    return 1
}
