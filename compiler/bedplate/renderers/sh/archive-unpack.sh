# archive-unpack PATH: unpack a base archive into the target, by numeric owner, with extended attributes, and without
# what must be a machine's own.
verb_archive_unpack() {
    tar -C "$TARGET" --numeric-owner --xattrs --xattrs-include='*' --anchored \
        --exclude=etc/machine-id --exclude=./etc/machine-id \
        --exclude=var/lib/dbus/machine-id --exclude=./var/lib/dbus/machine-id \
        --exclude='etc/ssh/ssh_host_*' --exclude='./etc/ssh/ssh_host_*' \
        --exclude=var/lib/systemd/random-seed --exclude=./var/lib/systemd/random-seed \
        --exclude='var/lib/systemd/credential.secret' --exclude='./var/lib/systemd/credential.secret' \
        -xpf "$1" || return 1
    if [ ! -d "$TARGET/etc" ] || [ ! -d "$TARGET/usr" ]; then
        printf '%s holds no base system: after unpacking there is no etc and usr\n' "$1" >&2
        return 1
    fi
}
