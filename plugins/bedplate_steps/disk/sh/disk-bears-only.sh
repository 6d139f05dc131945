# disk-bears-only TYPE...: the signatures on $DISK itself are of these types as libblkid names them, records of arrays at
# its ends included (wipefs(8) lists all, blkid(8) the first); the first TYPE is among them.
verb_disk_bears_only() {
    wipefs --no-act --parsable "$DISK" >"$WORK/signatures" || return 1
    v_strange='' v_first=''
    while IFS= read -r v_line; do
        v_type=${v_line##*,}
        [ "$v_type" != "$1" ] || v_first=yes
        case $v_line:" $* " in
            '#'* | *:*" $v_type "*) ;;
            *) v_strange="$v_strange $v_type (at ${v_line%%,*})" ;;
        esac
    done <"$WORK/signatures"
    if [ -n "$v_strange" ]; then
        printf '%s carries besides a table:%s\n' "$DISK" "$v_strange" >&2
        return 1
    fi
    [ -n "$v_first" ] && return 0
    printf 'wipefs sees no %s on %s\n' "$1" "$DISK" >&2
    return 1
}
