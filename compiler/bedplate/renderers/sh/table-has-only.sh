# table-has-only PARTUUID...: the table of $DISK has no row but those with these unique GUIDs (upper case).
# uses: table-read
verb_table_has_only() {
    verb_table_read || return 1
    sed -n 's/^[^ ]* *: start= *\([0-9]*\), size= *\([0-9]*\), type=[0-9A-F-]*, uuid=\([0-9A-F-]*\).*$/\1 \2 \3/p' \
        "$WORK/table" >"$WORK/rows" || return 1
    v_strangers=
    while read -r v_start v_size v_uuid; do
        case " $* " in
            *" $v_uuid "*) continue ;;
        esac
        printf 'nobody knew of the partition %s at %s to %s\n' "$v_uuid" "$v_start" "$((v_start + v_size - 1))" >&2
        v_strangers=yes
    done <"$WORK/rows"
    [ -z "$v_strangers" ]
}
