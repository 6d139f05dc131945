# await-partitions PARTUUID...: wait, 30 seconds at most, until the kernel and the device folder show the partitions.
# uses: partition-is-ready
verb_await_partitions() {
    for v_awaited in "$@"; do
        v_tries=0
        until verb_partition_is_ready "$v_awaited" 2>"$WORK/not-ready"; do
            [ "$v_tries" -eq 0 ] || sleep 1
            v_tries=$((v_tries + 1))
            if [ "$v_tries" -gt 30 ]; then
                cat "$WORK/not-ready" >&2
                printf 'the kernel does not take the new table: start the live medium again, then run this again\n' >&2
                return 1
            fi
            # A node can come, go and come again, so neither of these is trusted to be enough.
            [ "$v_tries" -lt 2 ] || partx --update "$DISK"
            ! command -v udevadm >/dev/null || udevadm settle --timeout=10
        done
    done
}
