# subvolumes-are WHERE NAME...: the btrfs volume has these subvolumes at its top. Looked at through a read-only mount.
# uses: partition-node
verb_subvolumes_are() {
    verb_partition_node "$1" || return 1
    shift
    mkdir -p -- "$WORK/top" || return 1
    mount -t btrfs -o ro,rescue=nologreplay,subvolid=5 -- "$v_node" "$WORK/top" || return 1
    v_missing=
    for v_name in "$@"; do
        # The top folder of every subvolume has inode 256 (btrfs(5)).
        [ "$(stat -c %i -- "$WORK/top/$v_name" 2>/dev/null)" = 256 ] || v_missing="$v_missing $v_name"
    done
    umount -- "$WORK/top" || return 1
    rmdir -- "$WORK/top" || return 1
    [ -z "$v_missing" ] && return 0
    printf 'missing subvolumes:%s\n' "$v_missing" >&2
    return 1
}
