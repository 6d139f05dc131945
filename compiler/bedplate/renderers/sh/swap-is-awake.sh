# swap-is-awake PARTUUID: the swap partition does not hold the memory of a hibernated system.
# uses: partition-node
verb_swap_is_awake() {
    verb_partition_node "$1" || return 1
    [ "$(blkid -p -o value -s TYPE -- "$v_node")" = swsuspend ] || return 0
    printf '%s holds the memory of a hibernated system\n' "$v_node" >&2
    return 1
}
