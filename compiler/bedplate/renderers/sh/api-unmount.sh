# api-unmount: take down every API mount of the target, the last first. A mount that is in use is an error.
verb_api_unmount() {
    for v_place in run/udev run dev/shm dev/pts dev sys/firmware/efi/efivars sys proc; do
        while mountpoint -q "$TARGET/$v_place" 2>/dev/null; do
            if ! umount "$TARGET/$v_place"; then
                printf '%s is still in use\n' "$TARGET/$v_place" >&2
                return 1
            fi
        done
    done
}
