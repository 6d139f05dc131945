# save-boot-state ESP PARTUUID|- all|loaders: carry the firmware's boot entries and order, and list and archive of the kept
# EFI system partition PARTUUID (-: it is a new one, and held nothing), from the copies into /var/lib/bedplate/boot of the
# target. loaders: only files below \EFI (the rest belongs to /boot). Where the person wants no copies, the archive is
# made now, of the partition mounted at ESP.
verb_save_boot_state() {
    v_keep=$TARGET/var/lib/bedplate/boot
    [ ! -e "$v_keep/complete" ] || return 0
    if [ -z "$COPIES" ]; then
        printf 'the copies of the state before are not at hand\n' >&2
        return 1
    fi
    mkdir -p -- "$v_keep" || return 1
    chmod 0700 "$v_keep" || return 1
    for v_file in "$COPIES"/Boot*; do
        [ ! -e "$v_file" ] || cat "$v_file" >"$v_keep/${v_file##*/}" || return 1
    done
    : >"$v_keep/esp.sha256" || return 1
    if [ "$2" != - ]; then
        v_begin='./'
        [ "$3" = all ] || v_begin='./EFI/'
        # Two blanks come before a name in the list of sha256sum(1), where the name needs no mark before the digest.
        v_list=$COPIES/esp-$2.sha256
        [ -e "$v_list" ] || return 1
        while IFS= read -r v_line; do
            case ${v_line#*  } in
                "$v_begin"*) printf '%s\n' "$v_line" ;;
            esac
        done <"$v_list" >"$v_keep/esp.sha256" || return 1
        if [ -e "$COPIES/esp-$2.tar" ]; then
            cp -- "$COPIES/esp-$2.tar" "$v_keep/esp.tar" || return 1
        else
            tar -cf "$v_keep/esp.tar" -C "$1" . || return 1
        fi
    fi
    sync
    : >"$v_keep/complete" || return 1
    # Before anything of ours reaches the EFI system partition, it must be known that it was not there.
    sync
}
