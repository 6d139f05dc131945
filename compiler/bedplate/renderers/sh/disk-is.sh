# disk-is SERIAL SIZE SECTOR: $DISK has that serial number (empty: not asked), SIZE bytes and sectors of SECTOR bytes.
verb_disk_is() {
    v_size=$(lsblk -dnbo SIZE "$DISK" | tr -d ' ')
    v_sector=$(lsblk -dnbo LOG-SEC "$DISK" | tr -d ' ')
    v_serial=$(lsblk -dno SERIAL "$DISK" | sed 's/^ *//; s/ *$//')
    if [ "$v_size $v_sector" != "$2 $3" ] || { [ -n "$1" ] && [ "$v_serial" != "$1" ]; }; then
        printf '%s: serial %s, %s bytes, sectors of %s\n' "$DISK" "$v_serial" "$v_size" "$v_sector" >&2
        return 1
    fi
}
