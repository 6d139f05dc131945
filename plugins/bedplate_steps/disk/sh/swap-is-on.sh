# swap-is-on WHERE: the device is in use as swap.
# uses: partition-node real-node
verb_swap_is_on() {
    verb_partition_node "$1" || return 1
    verb_real_node "$v_node" || return 1
    v_node=$v_real
    grep -q "^$v_node " /proc/swaps && return 0
    printf '%s is not in use as swap\n' "$v_node" >&2
    return 1
}
