# api-mounted: the API file systems are mounted in the target.
# uses: mounts-read
verb_api_mounted() {
    verb_mounts_read || return 1
    v_places='proc sys dev dev/pts run'
    [ ! -d /sys/firmware/efi/efivars ] || v_places="$v_places sys/firmware/efi/efivars"
    for v_place in $v_places; do
        case $v_mounts in
            *" $v_root/$v_place "*) continue ;;
        esac
        printf '%s is not mounted\n' "$TARGET/$v_place" >&2
        return 1
    done
}
