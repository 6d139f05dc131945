# initramfs-carries BOOT keyboard|disk MODULE...: the initramfs of every kernel in BOOT has each MODULE, every driver that
# drives $DISK now, and with keyboard those of the keyboards and a keymap (setupcon(1) of the apt family puts its own form
# there, the others a file of keymaps(5)); what a kernel has built in needs no file (modules.builtin).
# A device's driver names its module in sysfs (driver/module). Only real keyboards have the handler sysrq.
# uses: initramfs-list line-in
verb_initramfs_carries() {
    v_boot=$1 v_kind=$2
    shift 2
    printf '%s\n' "$@" >"$WORK/drivers" || return 1
    verb_initramfs_carries_up "$(readlink -f -- "/sys/class/block/${DISK##*/}")" >>"$WORK/drivers"
    if [ "$v_kind" = keyboard ]; then
        v_path=
        cat /proc/bus/input/devices >"$WORK/inputs" || return 1
        while read -r v_first v_rest; do
            case $v_first:$v_rest in
                S::Sysfs=*) v_path=${v_rest#Sysfs=} ;;
                H:*sysrq*) verb_initramfs_carries_up "/sys$v_path" >>"$WORK/drivers" ;;
            esac
        done <"$WORK/inputs"
    fi
    cat "$TARGET"/usr/lib/modules/*/modules.builtin "$TARGET"/lib/modules/*/modules.builtin 2>/dev/null |
        sed 's|.*/||; s/\.ko.*//' | tr - _ >"$WORK/builtin"
    tr - _ <"$WORK/drivers" >"$WORK/modules" || return 1
    v_images=0
    for v_image in "$v_boot"/initrd.img-* "$v_boot"/initramfs-*.img "$v_boot"/*/initrd; do
        [ -f "$v_image" ] || continue
        case $v_image in *rescue* | *fallback*) continue ;; esac
        v_images=$((v_images + 1))
        verb_initramfs_list "$v_image" >"$WORK/image-files" || return 1
        sed -n 's|.*/||; s/\.ko\(\.[a-z0-9]*\)*$//p' "$WORK/image-files" | tr - _ >"$WORK/image-modules"
        verb_initramfs_carries_all "$v_image" || return 1
        if [ "$v_kind" = keyboard ] && ! grep -q -e 'etc/console-setup/.*kmap' -e '/keymaps/.*map' -e 'keymap\.bin$' \
            -- "$WORK/image-files"; then
            printf '%s has no keymap: the passphrase would be typed on another layout than it was set with\n' "$v_image" >&2
            return 1
        fi
    done
    [ "$v_images" -gt 0 ] && return 0
    printf 'there is no initramfs in %s\n' "$v_boot" >&2
    return 1
}

verb_initramfs_carries_up() {
    v_up=$1
    while [ "${v_up#/sys/devices/}" != "$v_up" ]; do
        if [ -e "$v_up/driver/module" ]; then
            v_module=$(readlink -f -- "$v_up/driver/module")
            printf '%s\n' "${v_module##*/}"
        fi
        v_up=${v_up%/*}
    done
}

verb_initramfs_carries_all() {
    v_image=$1 v_lacking=
    set --
    while IFS= read -r v_module; do
        [ -z "$v_module" ] || set -- "$@" -e "$v_module"
    done <"$WORK/modules"
    [ $# -gt 0 ] || return 0
    grep -hFx "$@" -- "$WORK/image-modules" "$WORK/builtin" >"$WORK/carried"
    while IFS= read -r v_module; do
        [ -z "$v_module" ] || verb_line_in "$WORK/carried" "$v_module" || v_lacking="$v_lacking $v_module"
    done <"$WORK/modules"
    [ -z "$v_lacking" ] && return 0
    printf '%s lacks:%s\n' "$v_image" "$v_lacking" >&2
    return 1
}
