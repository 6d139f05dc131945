# room-is-free START END PARTUUID: no partition of $DISK other than PARTUUID lies in the sectors START to END, and as long as
# that one is not there, nothing else either.
# uses: next-row place-is-blank table-read
verb_room_is_free() {
    verb_table_read || return 1
    v_rows=$TABLE v_own=
    while verb_next_row; do
        if [ "$v_row_uuid" = "$3" ]; then
            v_own=yes
            continue
        fi
        if [ "$v_row_start" -le "$2" ] && [ $((v_row_start + v_row_size - 1)) -ge "$1" ]; then
            printf 'partition %s lies at %s to %s, inside the planned %s to %s\n' \
                "$v_row_uuid" "$v_row_start" "$((v_row_start + v_row_size - 1))" "$1" "$2" >&2
            return 1
        fi
    done
    [ -n "$v_own" ] || verb_place_is_blank "$1" "$2"
}
