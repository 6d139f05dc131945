# place-is-blank START END: blkid(8) can read those sectors of $DISK and knows nothing that begins there. What lies where no row
# of the table names it may be all that is left of a partition whose row somebody deleted by mistake.
verb_place_is_blank() {
    v_sector=$(lsblk -dnbo LOG-SEC "$DISK" | tr -d ' ')
    if ! dd if="$DISK" bs="$v_sector" skip="$1" count=1 >"$WORK/sector" 2>&1; then
        printf 'sector %s of %s cannot be read\n' "$1" "$DISK" >&2
        return 1
    fi
    v_known=$(blkid -p -o export --offset "$(($1 * v_sector))" --size "$((($2 - $1 + 1) * v_sector))" -- "$DISK")
    v_status=$?
    [ "$v_status:$v_known" != 2: ] || return 0
    printf 'no row of the table names it, yet something lies at the sectors %s to %s (blkid: %s): %s\n' "$1" "$2" \
        "$v_status" "$(printf '%s' "$v_known" | sed '/^DEVNAME=/d' | tr '\n' ' ')" >&2
    printf 'if its row was deleted by mistake, put that back; only what may go for good is erased, by hand: %s\n' \
        "dd if=/dev/zero of=$DISK bs=$v_sector seek=$1 count=$((1048576 / v_sector)) conv=notrunc" >&2
    return 1
}
