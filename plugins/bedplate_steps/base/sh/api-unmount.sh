# api-unmount: take down every API mount of the target, the last first. A mount that is in use is an error.
# uses: mounts-read
verb_api_unmount() {
    verb_mounts_read || return 1
    for v_place in run/udev run dev/shm dev/pts dev sys/firmware/efi/efivars sys proc; do
        v_words=" $v_root/$v_place "
        # As often as it was mounted there.
        while [ "$v_mounts" != "${v_mounts%%"$v_words"*}" ]; do
            if ! umount "$TARGET/$v_place"; then
                printf '%s is still in use\n' "$TARGET/$v_place" >&2
                return 1
            fi
            v_mounts=${v_mounts%%"$v_words"*}${v_mounts#*"$v_words"}
        done
    done
}
