# swap-is-on WHERE: the device is in use as swap.
# uses: partition-node
verb_swap_is_on() {
    v_node=$(verb_partition_node "$1") || return 1
    v_node=$(readlink -f -- "$v_node") || return 1
    grep -q "^$v_node " /proc/swaps && return 0
    printf '%s is not in use as swap\n' "$v_node" >&2
    return 1
}
