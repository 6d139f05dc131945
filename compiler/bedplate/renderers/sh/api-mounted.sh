# api-mounted: the API file systems are mounted in the target.
verb_api_mounted() {
    v_places='proc sys dev dev/pts run'
    [ ! -d /sys/firmware/efi/efivars ] || v_places="$v_places sys/firmware/efi/efivars"
    for v_place in $v_places; do
        if ! mountpoint -q "$TARGET/$v_place" 2>/dev/null; then
            printf '%s is not mounted\n' "$TARGET/$v_place" >&2
            return 1
        fi
    done
}
