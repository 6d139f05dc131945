# kernel-present: every folder of indexed modules has its kernel image, in itself or in /boot, by its version or by the name
# of its package (pkgbase, pacman family); at least one is there. A kernel that runs has its modules: without them, after an
# update that took them away, nothing new can be loaded.
verb_kernel_present() {
    v_kernels=0
    for v_index in "$TARGET"/usr/lib/modules/*/modules.dep "$TARGET"/lib/modules/*/modules.dep; do
        [ -f "$v_index" ] || continue
        v_modules=${v_index%/modules.dep}
        v_package=
        [ ! -f "$v_modules/pkgbase" ] || v_package=$(cat "$v_modules/pkgbase")
        for v_image in "$v_modules/vmlinuz" "$TARGET/boot/vmlinuz-${v_modules##*/}" \
            "$TARGET/boot/vmlinuz-${v_package:-none}" "${v_package:+$TARGET/boot/Image}"; do
            [ -s "$v_image" ] && break
            v_image=
        done
        if [ -z "$v_image" ]; then
            printf 'the modules in %s have no kernel image of the same version\n' "$v_modules" >&2
            return 1
        fi
        v_kernels=$((v_kernels + 1))
    done
    if [ -z "$TARGET" ] && [ ! -e "/lib/modules/$(uname -r)/modules.dep" ]; then
        printf 'the kernel that runs, %s, has no modules any more: restart the machine, then look again\n' "$(uname -r)" >&2
        return 1
    fi
    [ "$v_kernels" -gt 0 ] && return 0
    printf 'no kernel image with modules of the same version in %s\n' "$TARGET/boot and $TARGET/usr/lib/modules" >&2
    return 1
}
