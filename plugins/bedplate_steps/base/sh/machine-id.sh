# machine-id: write a machine-id of the target's own; one that is there and its own stays.
# uses: machine-id-own write-file
verb_machine_id() {
    verb_machine_id_own 2>/dev/null && return 0
    # machine-id(5): 32 hexadecimal digits of a random UUID (version 4), which is what the kernel gives here.
    tr -d - </proc/sys/kernel/random/uuid >"$WORK/machine-id" || return 1
    verb_write_file "$TARGET/etc/machine-id" 444 0:0 <"$WORK/machine-id" || return 1
    # An older copy for D-Bus would win over the new one; it is made again as a link when it is needed.
    [ -L "$TARGET/var/lib/dbus/machine-id" ] || rm -f "$TARGET/var/lib/dbus/machine-id"
}
