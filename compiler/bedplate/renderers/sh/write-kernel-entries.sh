# write-kernel-entries: write the boot loader specification entry of every installed kernel anew, with the parameters of
# the target's /etc/kernel/cmdline (kernel-install(8)).
verb_write_kernel_entries() {
    v_done=
    for v_kernel in "$TARGET"/lib/modules/*/vmlinuz; do
        [ -e "$v_kernel" ] || continue
        v_version=${v_kernel%/vmlinuz}
        v_version=${v_version##*/}
        in_target kernel-install add "$v_version" "/lib/modules/$v_version/vmlinuz" || return 1
        v_done=1
    done
    [ -n "$v_done" ] && return 0
    printf 'no kernel in %s/lib/modules\n' "$TARGET" >&2
    return 1
}
