# zone-is-there PATH: the file holds a compiled time zone (RFC 8536: it begins with TZif).
verb_zone_is_there() {
    if [ ! -f "$1" ] || [ "$(head -c 4 -- "$1" 2>/dev/null)" != TZif ]; then
        printf '%s is not a compiled time zone\n' "$1" >&2
        return 1
    fi
}
