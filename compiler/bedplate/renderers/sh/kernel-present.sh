# kernel-present: at least one kernel is installed whose modules are there, indexed, and whose image is there.
verb_kernel_present() {
    for v_index in "$TARGET"/usr/lib/modules/*/modules.dep "$TARGET"/lib/modules/*/modules.dep; do
        [ -f "$v_index" ] || continue
        v_modules=${v_index%/modules.dep}
        for v_image in "$v_modules/vmlinuz" "$TARGET/boot/vmlinuz-${v_modules##*/}" "$TARGET"/boot/vmlinuz-linux* \
            "$TARGET"/boot/Image*; do
            [ -s "$v_image" ] && return 0
        done
    done
    printf 'no kernel image with modules of the same version in %s\n' "$TARGET/boot and $TARGET/usr/lib/modules" >&2
    return 1
}
