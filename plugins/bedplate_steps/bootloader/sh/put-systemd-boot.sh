# put-systemd-boot ESP SOURCE FILE: copy SOURCE to \EFI\systemd\FILE, beside its place first. \EFI\BOOT is made where it
# is not there, and left empty: without that folder bootctl(1) 252 ends `update` with an error, and so does the package.
verb_put_systemd_boot() {
    mkdir -p -- "$1/EFI/systemd" "$1/EFI/BOOT" || return 1
    cp -- "$2" "$1/EFI/systemd/$3.new" || return 1
    sync
    mv -f -- "$1/EFI/systemd/$3.new" "$1/EFI/systemd/$3" || return 1
    sync
}
