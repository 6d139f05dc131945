# save-boot-state ESP FOLDER new|ready all|loaders: keep copies of the firmware's boot entries and order, and an archive
# of the EFI system partition mounted at ESP with the SHA-256 of every foreign file, in /var/lib/bedplate/boot of the
# target. FOLDER below \EFI is ours: new means that it must not exist yet. loaders: only files below \EFI (the rest
# belongs to /boot).
verb_save_boot_state() {
    v_keep=$TARGET/var/lib/bedplate/boot
    [ ! -e "$v_keep/complete" ] || return 0
    if [ "$3" = new ] && [ -e "$1/EFI/$2" ]; then
        printf '\\EFI\\%s exists already and may belong to another system\n' "$2" >&2
        return 1
    fi
    mkdir -p -- "$v_keep" || return 1
    chmod 0700 "$v_keep" || return 1
    for v_file in /sys/firmware/efi/efivars/Boot[0-9A-F][0-9A-F][0-9A-F][0-9A-F]-8be4df61-93ca-11d2-aa0d-00e098032b8c \
        /sys/firmware/efi/efivars/BootOrder-8be4df61-93ca-11d2-aa0d-00e098032b8c; do
        [ ! -e "$v_file" ] || cat "$v_file" >"$v_keep/${v_file##*/}" || return 1
    done
    v_from=.
    [ "$4" = all ] || v_from=./EFI
    : >"$v_keep/esp.sha256" || return 1
    if [ -d "$1/$v_from" ]; then
        (cd -- "$1" && find "$v_from" -type f ! -ipath "./EFI/$2/*" -exec sha256sum -- {} +) \
            >"$v_keep/esp.sha256" || return 1
        tar -cf "$v_keep/esp.tar" -C "$1" "$v_from" || return 1
    fi
    sync
    : >"$v_keep/complete" || return 1
    # Before anything of ours reaches the EFI system partition, it must be known that it was not there.
    sync
}
