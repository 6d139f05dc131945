# ext4-times DEVICE: that file system was not made, mounted, written or checked in what is now the future: the next start
# would be held up by a check (Linux, filesystems/ext4, super block: s_mtime, s_wtime, s_lastcheck, s_mkfs_time).
verb_ext4_times() {
    # shellcheck disable=SC2046 # 67 numbers
    set -- "$1" $(od -A n -v -t u4 -j 1024 -N 268 -- "$1")
    if [ "$#" -ne 68 ]; then
        printf 'the super block of %s cannot be read\n' "$1" >&2
        return 1
    fi
    # A day: a hardware clock in local time is read before the zone is known.
    v_limit=$(($(date +%s) + 86400))
    for v_time in "${13}" "${14}" "${18}" "${68}"; do
        [ "$v_time" -gt "$v_limit" ] || continue
        printf '%s was written to at %s, which is in the future\n' "$1" "$(date -u -d "@$v_time" '+%Y-%m-%d %H:%M UTC')" >&2
        return 1
    done
}
