# initramfs-is-built BOOT: BOOT holds at least one kernel, and for each an initramfs of more than 5 MiB.
verb_initramfs_is_built() {
    v_kernels=0
    for v_kernel in "$1"/vmlinuz-*; do
        [ -e "$v_kernel" ] || continue
        v_kernels=$((v_kernels + 1))
        v_version=${v_kernel##*/vmlinuz-}
        v_image=$1/initrd.img-$v_version
        [ -e "$v_image" ] || v_image=$1/initramfs-$v_version.img
        if [ ! -f "$v_image" ]; then
            printf 'the kernel %s has no initramfs in %s\n' "$v_version" "$1" >&2
            return 1
        fi
        v_size=$(wc -c <"$v_image") || return 1
        if [ "$v_size" -le 5242880 ]; then
            printf '%s has only %s bytes\n' "$v_image" "$v_size" >&2
            return 1
        fi
    done
    [ "$v_kernels" -gt 0 ] && return 0
    printf 'there is no kernel in %s\n' "$1" >&2
    return 1
}
