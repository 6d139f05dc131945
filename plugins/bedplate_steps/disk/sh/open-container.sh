# open-container WHERE NAME (passphrase on standard input, no line end): open it as /dev/mapper/NAME.
# uses: container-is-open gone-by-now partition-node
verb_open_container() {
    verb_container_is_open "$1" "$2" 2>/dev/null && return 0
    ! verb_gone_by_now "$1" || return 0
    verb_partition_node "$1" || return 1
    cryptsetup open --type luks2 --key-file - "$v_node" "$2" || return 1
}
