# container-is-open WHERE NAME: /dev/mapper/NAME lies on that partition.
# uses: partition-node
verb_container_is_open() {
    verb_partition_node "$1" || return 1
    v_real=$(readlink -f -- "/dev/mapper/$2")
    if [ -b "$v_real" ] && [ -e "/sys/class/block/${v_real##*/}/slaves/${v_node##*/}" ]; then
        return 0
    fi
    printf '/dev/mapper/%s is not open on %s\n' "$2" "$v_node" >&2
    return 1
}
