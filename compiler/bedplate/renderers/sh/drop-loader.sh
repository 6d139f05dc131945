# drop-loader ESP FOLDER: remove our folder below \EFI, never recursively, and only if no file in it was there before.
verb_drop_loader() {
    v_own=$1/EFI/$2
    [ -d "$v_own" ] || return 0
    if ! [ -e "$TARGET/var/lib/bedplate/boot/complete" ] ||
        grep -Fqi -e "  ./EFI/$2/" -- "$TARGET/var/lib/bedplate/boot/esp.sha256"; then
        printf '%s is not known to be ours; it stays\n' "$v_own" >&2
        return 1
    fi
    for v_file in "$v_own"/* "$v_own"/*/*; do
        [ ! -f "$v_file" ] || rm -f -- "$v_file" || return 1
    done
    for v_file in "$v_own"/*/; do
        [ ! -d "$v_file" ] || rmdir -- "$v_file" || return 1
    done
    rmdir -- "$v_own" || return 1
    sync
}
