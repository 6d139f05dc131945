# api-mount: mount proc, sys (with the EFI variables), dev and run in the target, each once and privately.
# uses: api-one mounts-read
verb_api_mount() {
    verb_mounts_read || return 1
    verb_api_one proc -t proc -o nosuid,noexec,nodev proc || return 1
    verb_api_one sys -t sysfs -o nosuid,noexec,nodev,ro sys || return 1
    if [ -d /sys/firmware/efi/efivars ]; then
        verb_api_one sys/firmware/efi/efivars -t efivarfs -o nosuid,noexec,nodev efivarfs || return 1
    fi
    # A bind of /dev alone: nothing that is mounted below the medium's own /dev comes along.
    verb_api_one dev --bind /dev || return 1
    verb_api_one dev/pts -t devpts -o mode=0620,gid=5,ptmxmode=0666,nosuid,noexec devpts || return 1
    verb_api_one dev/shm -t tmpfs -o mode=1777,nosuid,nodev shm || return 1
    verb_api_one run -t tmpfs -o mode=0755,nosuid,nodev run || return 1
    if [ -d /run/udev ]; then
        # Tools that build the initramfs and the boot menu ask the device data base.
        mkdir -p "$TARGET/run/udev" || return 1
        verb_api_one run/udev --bind /run/udev || return 1
    fi
}
