# disk-is-writable: neither a switch nor the kernel keeps $DISK from being written to.
verb_disk_is_writable() {
    if [ ! -b "$DISK" ]; then
        [ -w "$DISK" ] && return 0
        printf '%s cannot be written to\n' "$DISK" >&2
        return 1
    fi
    v_protected=
    read -r v_protected <"/sys/class/block/${DISK##*/}/ro"
    [ "$v_protected" = 0 ] && return 0
    printf '%s is write-protected (%s)\n' "$DISK" "${v_protected:-its state cannot be read}" >&2
    return 1
}
