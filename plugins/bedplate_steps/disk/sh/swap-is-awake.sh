# swap-is-awake PARTUUID: the swap partition does not hold the memory of a hibernated system: blkid knows it as swap that
# is none, or there is nothing on it that blkid knows, without a word of trouble.
# uses: partition-node
verb_swap_is_awake() {
    verb_partition_node "$1" || return 1
    v_kind=$(blkid -p -o value -s TYPE -- "$v_node" 2>"$WORK/blkid-words")
    v_status=$?
    case $v_status:$v_kind in
        0:swsuspend)
            printf '%s holds the memory of a hibernated system\n' "$v_node" >&2
            return 1
            ;;
        0:?*) return 0 ;;
        # Of a device that is not there, blkid has not a word either.
        2:) [ -s "$WORK/blkid-words" ] || [ ! -r "$v_node" ] || return 0 ;;
    esac
    printf '%s: blkid could not tell whether a system sleeps there (exit status %s)\n' "$v_node" "$v_status" >&2
    cat "$WORK/blkid-words" >&2
    return 1
}
