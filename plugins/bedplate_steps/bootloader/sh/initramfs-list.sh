# initramfs-list IMAGE: print the names of the files in an initramfs of the target, with the family's own tool.
verb_initramfs_list() {
    for v_tool in lsinitramfs lsinitcpio lsinitrd; do
        [ -x "$TARGET/usr/bin/$v_tool" ] || continue
        in_target "$v_tool" "${1#"$TARGET"}"
        return
    done
    printf 'the new system has no tool that lists an initramfs\n' >&2
    return 1
}
