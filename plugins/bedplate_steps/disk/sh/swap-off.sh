# swap-off WHERE: the device is not used as swap.
# uses: swap-is-on partition-node
verb_swap_off() {
    verb_swap_is_on "$1" 2>/dev/null || return 0
    swapoff "$v_node" || return 1
}
