# api-unmounted: none of the API file systems is mounted in the target any more.
verb_api_unmounted() {
    for v_place in proc sys dev run; do
        if mountpoint -q "$TARGET/$v_place" 2>/dev/null; then
            printf '%s is still mounted\n' "$TARGET/$v_place" >&2
            return 1
        fi
    done
}
