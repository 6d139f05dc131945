# firmware-of-link MAC: of the firmware files that the driver of this network card asks for, the target has those that this
# kernel has loaded (its log names them), or where the log names none, at least one. A card that is not in the machine
# now, or whose driver asks for no file, has nothing to look at. modinfo(8); the wireless layer knows the permanent
# address (/sys/class/ieee80211/*/macaddress).
verb_firmware_of_link() {
    v_driver=
    for v_card in /sys/class/net/*; do
        v_address=$(cat "$v_card/phy80211/macaddress" 2>/dev/null || cat "$v_card/address" 2>/dev/null)
        if [ "$v_address" = "$1" ] && [ -e "$v_card/device/driver/module" ]; then
            v_driver=$(readlink -f -- "$v_card/device/driver/module")
            v_driver=${v_driver##*/}
        fi
    done
    if [ -z "$v_driver" ]; then
        printf 'no card with the address %s has a driver here: there is nothing to look at\n' "$1"
        return 0
    fi
    : >"$WORK/asked" || return 1
    for v_tree in "$TARGET"/usr/lib/modules/*/ "$TARGET"/lib/modules/*/; do
        [ -f "$v_tree/modules.dep" ] || continue
        v_tree=${v_tree%/}
        in_target modinfo -k "${v_tree##*/}" -F firmware "$v_driver" >>"$WORK/asked" 2>/dev/null
    done
    [ -s "$WORK/asked" ] || return 0
    dmesg >"$WORK/kernel-log" 2>/dev/null || : >"$WORK/kernel-log"
    v_loaded='' v_lacking='' v_there=''
    while IFS= read -r v_file; do
        v_have=
        for v_path in "$TARGET/usr/lib/firmware/$v_file" "$TARGET/lib/firmware/$v_file"; do
            [ ! -e "$v_path" ] && [ ! -e "$v_path.xz" ] && [ ! -e "$v_path.zst" ] || v_have=yes
        done
        v_there=$v_there$v_have
        grep -Fq -e "$v_file" "$WORK/kernel-log" || continue
        v_loaded=yes
        [ -n "$v_have" ] || v_lacking="$v_lacking $v_file"
    done <"$WORK/asked"
    if [ -n "$v_loaded" ]; then
        [ -z "$v_lacking" ] && return 0
        printf '%s has loaded here, and the new system lacks:%s\n' "$v_driver" "$v_lacking" >&2
        return 1
    fi
    [ -n "$v_there" ] && return 0
    printf 'the new system has none of the firmware files of %s, such as %s\n' "$v_driver" "$(head -n 1 "$WORK/asked")" >&2
    return 1
}
