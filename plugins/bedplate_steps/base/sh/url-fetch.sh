# url-fetch TRUST URL FILE: what the address holds, into FILE. TRUST is "any" (certificates are not looked at: the live
# clock may still be wrong, and a signature may be the better proof) or "trusted".
verb_url_fetch() {
    case $2 in
        file:*)
            v_path=${2#file:}
            case $v_path in //*) v_path=${v_path#//} ;; esac
            cat -- "$v_path" >"$3" 2>/dev/null && return 0
            printf '%s does not exist on the medium\n' "$v_path" >&2
            return 1
            ;;
    esac
    if command -v curl >/dev/null 2>&1; then
        v_lax=--insecure
        [ "$1" != trusted ] || v_lax=
        curl -fsSL --connect-timeout 20 --max-time 300 -o "$3" ${v_lax:+"$v_lax"} -- "$2" && return 0
    elif command -v wget >/dev/null 2>&1; then
        v_lax=--no-check-certificate
        [ "$1" != trusted ] || v_lax=
        wget -q -T 20 -O "$3" ${v_lax:+"$v_lax"} "$2" && return 0
    elif [ -x /usr/lib/apt/apt-helper ]; then
        rm -f "$3"
        /usr/lib/apt/apt-helper download-file "$2" "$3" && return 0
    else
        printf 'the medium has neither curl nor wget to try it with\n' >&2
        return 1
    fi
    printf '%s does not answer\n' "$2" >&2
    return 1
}
