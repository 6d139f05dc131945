# archive-whole PATH SHA256: the archive has that checksum; where none is known (empty), its last byte can be read. What
# was read once in this run is not read again while the file is the same by number, size and times (stat(1)).
verb_archive_whole() {
    if [ ! -s "$1" ]; then
        printf '%s is not there, or empty\n' "$1" >&2
        return 1
    fi
    v_seen="$2 $(stat -L -c '%d:%i %s %y %z' -- "$1") $1" || return 1
    [ "$v_seen" != "$(cat -- "$WORK/archive-seen" 2>/dev/null)" ] || return 0
    if [ -z "$2" ]; then
        tar -tf "$1" >/dev/null || return 1
        printf '%s\n' "$v_seen" >"$WORK/archive-seen"
        return 0
    fi
    sha256sum -- "$1" >"$WORK/archive-sum" || return 1
    read -r v_sum v_rest <"$WORK/archive-sum" || return 1
    : "$v_rest"
    if [ "${v_sum#\\}" != "$2" ]; then
        printf '%s has the checksum %s, not %s\n' "$1" "$v_sum" "$2" >&2
        return 1
    fi
    printf '%s\n' "$v_seen" >"$WORK/archive-seen"
}
