# room-in PATH MIB: the file system that holds PATH has at least MIB MiB free.
verb_room_in() {
    df -Pk -- "$1" >"$WORK/room" || return 1
    # POSIX df -P: a line of heads, then device, size, used, available in KiB.
    v_free=$(sed -n '2s/^.* \([0-9][0-9]*\)  *[0-9][0-9]*%.*$/\1/p' "$WORK/room")
    if [ -z "$v_free" ] || [ "$((v_free / 1024))" -lt "$2" ]; then
        printf '%s MiB are free, %s MiB are needed\n' "$((${v_free:-0} / 1024))" "$2" >&2
        return 1
    fi
}
