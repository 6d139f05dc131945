# write-kernel-entries: write the boot loader specification entry of every installed kernel anew, with the parameters of
# the target's /etc/kernel/cmdline (kernel-install(8)). A kernel's image lies beside its modules or in /boot.
verb_write_kernel_entries() {
    v_done=
    for v_modules in "$TARGET"/lib/modules/*; do
        v_version=${v_modules##*/}
        for v_kernel in "/lib/modules/$v_version/vmlinuz" "/boot/vmlinuz-$v_version"; do
            [ -e "$TARGET$v_kernel" ] || continue
            in_target kernel-install add "$v_version" "$v_kernel" || return 1
            v_done=1
            break
        done
    done
    [ -n "$v_done" ] && return 0
    printf 'no kernel in %s\n' "$TARGET/lib/modules and $TARGET/boot" >&2
    return 1
}
