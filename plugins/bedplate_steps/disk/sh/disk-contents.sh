# disk-contents TABLES (`disk TYPE UUID` lines on standard input, UUID may be missing): wipefs(8) sees exactly these on $DISK,
# and partition tables only where TABLES is not empty.
verb_disk_contents() {
    cat >"$WORK/expected" || return 1
    wipefs --no-act --noheadings --output TYPE,UUID "$DISK" >"$WORK/signatures" || return 1
    : >"$WORK/matched"
    v_more=
    while read -r v_kind v_uuid; do
        case $1:$v_kind in
            tables:gpt | tables:PMBR | tables:dos | tables:sgi | tables:sun | tables:bsd) continue ;;
        esac
        if grep -qxF -e "disk $v_kind" -e "disk $v_kind${v_uuid:+ $v_uuid}" "$WORK/expected"; then
            printf 'disk %s\n' "$v_kind" >>"$WORK/matched"
        else
            v_more="$v_more $v_kind${v_uuid:+ ($v_uuid)}"
        fi
    done <"$WORK/signatures"
    [ -z "$v_more" ] || printf 'the disk itself carries what nobody has named:%s\n' "$v_more" >&2
    while read -r v_disk v_kind v_uuid; do
        grep -qxF "$v_disk $v_kind" "$WORK/matched" && continue
        printf 'the disk itself no longer carries %s %s\n' "$v_kind" "$v_uuid" >&2
        v_more=yes
    done <"$WORK/expected"
    [ -z "$v_more" ]
}
