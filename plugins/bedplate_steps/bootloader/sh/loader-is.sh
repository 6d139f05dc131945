# loader-is PATH MACHINE: the file is a loader for that machine (four hex digits, low byte first): the two bytes after the
# signature "PE", whose place stands at offset 60 (PE/COFF; values in UEFI 2.10, 2.1.1).
verb_loader_is() {
    if [ ! -f "$1" ]; then
        printf '%s is missing\n' "$1" >&2
        return 1
    fi
    v_hex=$(od -An -v -tx1 -j60 -N4 "$1" | tr -d ' \n')
    case $v_hex in
        ????0000)
            v_high=${v_hex#??}
            v_place=$((0x${v_high%????}${v_hex%??????}))
            ;;
        *)
            printf '%s is not a loader\n' "$1" >&2
            return 1
            ;;
    esac
    v_head=$(od -An -v -tx1 -j"$v_place" -N6 "$1" | tr -d ' \n')
    [ "$v_head" = "50450000$2" ] && return 0
    printf '%s is not a loader for this machine (found %s)\n' "$1" "$v_head" >&2
    return 1
}
