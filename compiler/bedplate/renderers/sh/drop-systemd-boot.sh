# drop-systemd-boot ESP: remove \EFI\systemd, and of \EFI\BOOT what bootctl(1) put there; only where nothing of the kind
# was there before. Nothing is ever deleted recursively.
# uses: drop-loader
verb_drop_systemd_boot() {
    v_list=$TARGET/var/lib/bedplate/boot/esp.sha256
    # Without the list nothing of ours has been put there yet.
    [ -e "$TARGET/var/lib/bedplate/boot/complete" ] || return 0
    verb_drop_loader "$1" systemd || return 1
    grep -Fqi -e '  ./EFI/BOOT/' -- "$v_list" && return 0
    verb_drop_loader "$1" BOOT || return 1
}
