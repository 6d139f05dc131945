# api-unmounted: none of the API file systems is mounted in the target any more.
# uses: mounts-read
verb_api_unmounted() {
    verb_mounts_read || return 1
    for v_place in proc sys dev run; do
        case $v_mounts in
            *" $v_root/$v_place "*)
                printf '%s is still mounted\n' "$TARGET/$v_place" >&2
                return 1
                ;;
        esac
    done
}
