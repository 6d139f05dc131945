# swap-on WHERE: use the device as swap, unless it is in use already.
# uses: partition-node swap-is-on
verb_swap_on() {
    verb_swap_is_on "$1" 2>/dev/null && return 0
    verb_partition_node "$1" || return 1
    swapon -- "$v_node" || return 1
}
