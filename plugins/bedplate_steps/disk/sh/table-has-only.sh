# table-has-only PARTUUID...: the table of $DISK has no row but those with these unique GUIDs (upper case).
# uses: next-row table-read
verb_table_has_only() {
    verb_table_read || return 1
    v_rows=$TABLE v_strangers=
    while verb_next_row; do
        case " $* " in
            *" $v_row_uuid "*) continue ;;
        esac
        printf 'nobody knew of the partition %s at %s to %s\n' \
            "$v_row_uuid" "$v_row_start" "$((v_row_start + v_row_size - 1))" >&2
        v_strangers=yes
    done
    [ -z "$v_strangers" ]
}
