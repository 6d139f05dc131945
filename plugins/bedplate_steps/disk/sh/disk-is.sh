# disk-is SERIAL SIZE SECTOR: $DISK has that serial number (empty: not asked), SIZE bytes and sectors of SECTOR bytes.
verb_disk_is() {
    IFS=' ' read -r v_size v_sector v_serial <<END_OF_IDENTITY
$(lsblk -dnbo SIZE,LOG-SEC,SERIAL -- "$DISK")
END_OF_IDENTITY
    if [ "$v_size $v_sector" != "$2 $3" ] || { [ -n "$1" ] && [ "$v_serial" != "$1" ]; }; then
        printf '%s: serial %s, %s bytes, sectors of %s\n' "$DISK" "$v_serial" "$v_size" "$v_sector" >&2
        return 1
    fi
}
