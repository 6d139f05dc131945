# drop-boot-files ESP BOOT NAME: remove the loader's settings and every entry of ours, and from BOOT the copies of our
# kernels in its folder NAME. Nothing is ever deleted recursively, and nothing where \loader was there before.
verb_drop_boot_files() {
    v_list=$TARGET/var/lib/bedplate/boot/esp.sha256
    # Without the list nothing of ours has been put there yet.
    [ -e "$TARGET/var/lib/bedplate/boot/complete" ] || return 0
    if grep -Fqi -e '  ./loader/' -e "  ./$3/" -- "$v_list"; then
        printf 'files of \\loader or \\%s were there before; they stay\n' "$3" >&2
        return 1
    fi
    for v_file in "$2/$3"/*/* "$1/loader/entries"/* "$2/loader/entries"/* "$1/loader"/* "$2/loader"/*; do
        [ ! -f "$v_file" ] || rm -f -- "$v_file" || return 1
    done
    for v_folder in "$2/$3"/* "$2/$3" "$1/loader/entries" "$2/loader/entries" "$1/loader" "$2/loader"; do
        [ ! -d "$v_folder" ] || rmdir -- "$v_folder" || return 1
    done
    sync
}
