# make-fallback ESP FOLDER NAME FIRST FILE...: copy our files to \EFI\BOOT, FIRST under the name NAME and as the last one.
# A file that was there before stays, and the work stops.
verb_make_fallback() {
    v_own=$1/EFI/$2 v_boot=$1/EFI/BOOT v_name=$3 v_first=$4
    if ! [ -e "$TARGET/var/lib/bedplate/boot/complete" ] ||
        grep -qi -e '  \./EFI/BOOT/' -- "$TARGET/var/lib/bedplate/boot/esp.sha256"; then
        printf '\\EFI\\BOOT is not free\n' >&2
        return 1
    fi
    shift 4
    mkdir -p -- "$v_boot" || return 1
    for v_file in "$@"; do
        [ ! -e "$v_own/$v_file" ] || cp -- "$v_own/$v_file" "$v_boot/$v_file" || return 1
    done
    cp -- "$v_own/$v_first" "$v_boot/$v_name.new" || return 1
    sync
    mv -f -- "$v_boot/$v_name.new" "$v_boot/$v_name" || return 1
}
