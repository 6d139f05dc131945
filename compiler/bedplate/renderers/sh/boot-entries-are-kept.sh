# boot-entries-are-kept: every boot entry that was saved is still there, byte for byte.
verb_boot_entries_are_kept() {
    v_lost=
    for v_saved in "$TARGET"/var/lib/bedplate/boot/Boot[0-9A-F][0-9A-F][0-9A-F][0-9A-F]-*; do
        [ -e "$v_saved" ] || continue
        v_name=${v_saved##*/}
        # Not cmp -s: it looks at places in the files first, which files of efivarfs do not have, and finds a difference.
        cmp -- "$v_saved" "/sys/firmware/efi/efivars/$v_name" >"$WORK/compared" 2>&1 || v_lost="$v_lost ${v_name%%-*}"
    done
    [ -z "$v_lost" ] && return 0
    printf 'boot entries changed or gone:%s\n' "$v_lost" >&2
    return 1
}
