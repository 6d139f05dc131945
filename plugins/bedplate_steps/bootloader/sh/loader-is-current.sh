# loader-is-current PATH...: none of these loaders is older than the firmware's list of revoked ones allows. The variable
# SbatLevelRT holds four bytes of attributes, then lines COMPONENT,GENERATION; a loader carries lines that begin the same
# way (shim, SBAT.md).
verb_loader_is_current() {
    v_level=/sys/firmware/efi/efivars/SbatLevelRT-605dab50-e046-4300-abb6-3dd810dd8b23
    [ -e "$v_level" ] || return 0
    dd if="$v_level" bs=4 skip=1 2>/dev/null | tr -d '\000' >"$WORK/level"
    printf '\n' >>"$WORK/level" || return 1
    for v_loader in "$@"; do
        [ -f "$v_loader" ] || continue
        tr -c '[:print:]\n' '\n' <"$v_loader" >"$WORK/loader-lines" || return 1
        while IFS=, read -r v_component v_least _; do
            case $v_component:$v_least in
                sbat:* | *: | *:*[!0-9]*) continue ;;
            esac
            v_generation=$(sed -n "s/^$v_component,\([0-9][0-9]*\),.*/\1/p" "$WORK/loader-lines" | head -n 1)
            [ -n "$v_generation" ] || continue
            [ "$v_generation" -lt "$v_least" ] || continue
            printf '%s has %s of generation %s; the firmware takes %s and later\n' \
                "$v_loader" "$v_component" "$v_generation" "$v_least" >&2
            return 1
        done <"$WORK/level"
    done
}
