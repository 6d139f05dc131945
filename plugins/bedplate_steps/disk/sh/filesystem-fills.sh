# filesystem-fills WHERE TYPE PATH: what is left of the device behind the file system is less than 1 MiB, or 1 % of it.
# uses: partition-node
verb_filesystem_fills() {
    verb_partition_node "$1" || return 1
    if [ -b "$v_node" ]; then
        v_room=$(blockdev --getsize64 "$v_node") || return 1
    else
        v_room=$(stat -c %s -- "$v_node") || return 1
    fi
    case $2 in
        ext4)
            dumpe2fs -h "$v_node" >"$WORK/filesystem" 2>/dev/null || return 1
            v_blocks=$(sed -n 's/^Block count: *//p' "$WORK/filesystem")
            v_block=$(sed -n 's/^Block size: *//p' "$WORK/filesystem")
            ;;
        xfs)
            xfs_info "$3" >"$WORK/filesystem" || return 1
            v_block=$(sed -n 's/^data .*bsize=\([0-9]*\) .*/\1/p' "$WORK/filesystem")
            v_blocks=$(sed -n 's/^data .*blocks=\([0-9]*\),.*/\1/p' "$WORK/filesystem")
            ;;
        btrfs)
            btrfs filesystem show --raw "$3" >"$WORK/filesystem" || return 1
            v_block=1
            v_blocks=$(sed -n 's/^.*devid .* size \([0-9]*\) used.*/\1/p' "$WORK/filesystem")
            ;;
        *) return 1 ;;
    esac
    v_left=$((v_room - ${v_blocks:-0} * ${v_block:-0}))
    [ "$v_left" -lt 1048576 ] || [ "$v_left" -lt $((v_room / 100)) ] && return 0
    printf 'the file system leaves %s of %s bytes unused\n' "$v_left" "$v_room" >&2
    return 1
}
