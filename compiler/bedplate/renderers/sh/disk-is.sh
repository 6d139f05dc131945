# disk-is SERIAL SIZE SECTOR: $DISK has that serial number (empty: not asked), SIZE bytes and sectors of SECTOR bytes.
verb_disk_is() {
    read -r v_size v_sector <<END_OF_SIZES
$(lsblk -dnbo SIZE,LOG-SEC -- "$DISK")
END_OF_SIZES
    IFS=' ' read -r v_serial <<END_OF_SERIAL
$(lsblk -dno SERIAL -- "$DISK")
END_OF_SERIAL
    if [ "$v_size $v_sector" != "$2 $3" ] || { [ -n "$1" ] && [ "$v_serial" != "$1" ]; }; then
        printf '%s: serial %s, %s bytes, sectors of %s\n' "$DISK" "$v_serial" "$v_size" "$v_sector" >&2
        return 1
    fi
}
