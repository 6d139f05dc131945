# room-is-free START END PARTUUID: no partition of $DISK other than PARTUUID lies in the sectors START to END.
# uses: table-read
verb_room_is_free() {
    verb_table_read || return 1
    sed -n 's/^[^ ]* *: start= *\([0-9]*\), size= *\([0-9]*\), type=[0-9A-F-]*, uuid=\([0-9A-F-]*\).*$/\1 \2 \3/p' \
        "$WORK/table" >"$WORK/rows" || return 1
    while read -r v_start v_size v_uuid; do
        [ "$v_uuid" != "$3" ] || continue
        if [ "$v_start" -le "$2" ] && [ $((v_start + v_size - 1)) -ge "$1" ]; then
            printf 'partition %s lies at %s to %s, inside the planned %s to %s\n' \
                "$v_uuid" "$v_start" "$((v_start + v_size - 1))" "$1" "$2" >&2
            return 1
        fi
    done <"$WORK/rows"
}
