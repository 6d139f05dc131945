# archive-unpack PATH: unpack a base archive into the target, by numeric owner, with extended attributes, and take out what must
# be a machine's own.
# uses: own-folder
verb_archive_unpack() {
    # Without --exclude: tar compares every name of the archive with each, which takes a tenth of the whole unpacking.
    tar -C "$TARGET" --numeric-owner --xattrs --xattrs-include='*' -xpf "$1" || return 1
    for v_own in "$TARGET"/etc/machine-id "$TARGET"/var/lib/dbus/machine-id "$TARGET"/etc/ssh/ssh_host_* \
        "$TARGET"/var/lib/systemd/random-seed "$TARGET"/var/lib/systemd/credential.secret; do
        [ -e "$v_own" ] || [ -L "$v_own" ] || continue
        # Not through a link that leads out of the target.
        verb_own_folder "$v_own" && rm -f -- "$v_own" || return 1
    done
    if [ ! -d "$TARGET/etc" ] || [ ! -d "$TARGET/usr" ]; then
        printf '%s holds no base system: after unpacking there is no etc and usr\n' "$1" >&2
        return 1
    fi
}
