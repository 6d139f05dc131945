# room-is-free START END PARTUUID: no partition of $DISK other than PARTUUID lies in the sectors START to END.
# uses: next-row table-read
verb_room_is_free() {
    verb_table_read || return 1
    v_rows=$TABLE
    while verb_next_row; do
        [ "$v_row_uuid" != "$3" ] || continue
        if [ "$v_row_start" -le "$2" ] && [ $((v_row_start + v_row_size - 1)) -ge "$1" ]; then
            printf 'partition %s lies at %s to %s, inside the planned %s to %s\n' \
                "$v_row_uuid" "$v_row_start" "$((v_row_start + v_row_size - 1))" "$1" "$2" >&2
            return 1
        fi
    done
}
