# network-live RESOLV_CONF: the live medium has a default route, and that file names a server for names.
verb_network_live() {
    ip -4 route show default >"$WORK/routes" 2>/dev/null
    ip -6 route show default >>"$WORK/routes" 2>/dev/null
    if [ ! -s "$WORK/routes" ]; then
        printf 'the live medium has no default route\n' >&2
        return 1
    fi
    if ! grep -q '^[[:blank:]]*nameserver[[:blank:]][[:blank:]]*[0-9A-Fa-f]' "$1" 2>/dev/null; then
        printf '%s names no name server\n' "$1" >&2
        return 1
    fi
}
