# entries-start BOOT NAME OPTIONS copied|beside: BOOT/loader/entries has an entry NAME-VERSION.conf for every kernel of the
# target; each starts that very kernel with exactly those OPTIONS. copied: kernels lie in /boot, and each starts with the
# very initramfs that lies there. beside: kernels lie beside their modules, and an initramfs of more than 5 MiB only in
# BOOT. Other entries of that name have the same options, and what they name is there. (Boot Loader Specification: a key,
# blanks, a value; paths from BOOT's root.)
verb_entries_start() {
    v_kernels=0
    for v_kernel in "$TARGET"/boot/vmlinuz-* "$TARGET"/lib/modules/*/vmlinuz; do
        case $4:$v_kernel in
            copied:*/vmlinuz | beside:*/boot/vmlinuz-*) continue ;;
        esac
        [ -f "$v_kernel" ] || continue
        v_kernels=$((v_kernels + 1))
        v_version=${v_kernel##*/vmlinuz-}
        [ "$4" = copied ] || v_version=${v_kernel%/vmlinuz}
        v_version=${v_version##*/}
        v_entry=$1/loader/entries/$2-$v_version.conf
        if [ ! -f "$v_entry" ]; then
            printf 'the kernel %s has no entry %s\n' "$v_version" "$v_entry" >&2
            return 1
        fi
        verb_entries_start_same "$1" linux "$v_kernel" || return 1
        verb_entries_start_there "$1" initrd || return 1
        v_initrd=$TARGET/boot/initrd.img-$v_version
        [ -e "$v_initrd" ] || v_initrd=$TARGET/boot/initramfs-$v_version.img
        [ "$4" = beside ] || verb_entries_start_same "$1" initrd "$v_initrd" || return 1
        if [ "$4" = beside ] && [ "$(wc -c <"$1$v_path")" -le 5242880 ]; then
            printf '%s has no more than 5 MiB\n' "$1$v_path" >&2
            return 1
        fi
    done
    for v_entry in "$1/loader/entries/$2"-*.conf; do
        [ -f "$v_entry" ] || continue
        verb_entries_start_there "$1" linux && verb_entries_start_there "$1" initrd || return 1
        v_found=$(verb_entries_start_value options)
        if [ "$v_found" != "$3" ]; then
            printf '%s starts with "%s", not with "%s"\n' "$v_entry" "$v_found" "$3" >&2
            return 1
        fi
    done
    [ "$v_kernels" -gt 0 ] && return 0
    printf 'the new system has no kernel\n' >&2
    return 1
}

verb_entries_start_value() {
    sed -n "s/^$1[[:blank:]][[:blank:]]*//p" "$v_entry" | sed 's/[[:blank:]]*$//' | head -n 1
}

verb_entries_start_there() {
    v_path=$(verb_entries_start_value "$2")
    case $v_path in
        /*) [ -s "$1$v_path" ] && return 0 ;;
    esac
    printf '%s names as %s "%s", which is not there\n' "$v_entry" "$2" "$v_path" >&2
    return 1
}

verb_entries_start_same() {
    verb_entries_start_there "$1" "$2" || return 1
    cmp -s -- "$1$v_path" "$3" && return 0
    printf '%s starts %s, which is not the same as %s\n' "$v_entry" "$v_path" "$3" >&2
    return 1
}
