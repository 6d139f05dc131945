# partition-shows PARTUUID: print what blkid(8) sees on the partition of $DISK, how much of it is used, and when it was last
# written, where the superblock tells without a mount. An opened container is looked into. Mounts below the target are our own.
# uses: contents-read table-read table-row
verb_partition_shows() {
    verb_table_read && verb_table_row "$1" || return 1
    v_show_name=${v_row_rest#*name=\"}
    [ "$v_show_name" = "$v_row_rest" ] && v_show_name='no name' || v_show_name=${v_show_name%%\"*}
    v_show_size=$(lsblk -dnro SIZE "$v_row_node" 2>/dev/null)
    printf '%s (%s, %s): ' "$v_row_node" "$v_show_name" "${v_show_size:-size unknown}"
    if [ ! -b "$v_row_node" ]; then
        printf 'the kernel does not show it; what is on it is unknown\n'
        return 0
    fi
    verb_contents_read "$v_row_node"
    v_show_in=$v_row_node
    if [ "$v_type" = crypto_LUKS ]; then
        v_show_in=$(lsblk -nrpo NAME "$v_row_node" 2>/dev/null | sed -n 2p)
        if [ -z "$v_show_in" ]; then
            printf 'encrypted, UUID %s; not open, so that what is in it is unknown\n' "$v_uuid"
            return 0
        fi
        printf 'encrypted; in it '
        verb_contents_read "$v_show_in"
    fi
    case $v_status:$v_type in
        0:?* | [02]:) ;;
        *)
            printf 'what is on it cannot be told (blkid: %s)\n' "$v_status"
            return 0
            ;;
    esac
    if [ -z "$v_type" ]; then
        printf 'nothing that blkid knows%s\n' "${v_inner:+, but a partition table ($v_inner)}"
        return 0
    fi
    v_show_used=unknown v_show_written=unknown
    case $v_type in
        ext[234])
            v_show=$(dumpe2fs -h "$v_show_in" 2>/dev/null)
            v_show_written=$(printf '%s\n' "$v_show" | sed -n 's/^Last write time: *//p')
            v_show_used=$(printf '%s\n' "$v_show" | awk -F: '/^Block count/ { n = $2 } /^Free blocks/ { f = $2 }
                /^Block size/ { b = $2 } END { if (b > 0) printf "%.0f MiB", (n - f) * b / 1048576 }')
            ;;
        xfs)
            v_show_used=$(xfs_db -r -c 'sb 0' -c 'print dblocks fdblocks blocksize' "$v_show_in" 2>/dev/null |
                awk '{ v[$1] = $3 } END { b = v["blocksize"]
                if (b > 0) printf "%.0f MiB", (v["dblocks"] - v["fdblocks"]) * b / 1048576 }')
            ;;
        btrfs)
            v_show_used=$(btrfs inspect-internal dump-super "$v_show_in" 2>/dev/null |
                awk '$1 == "bytes_used" { printf "%.0f MiB", $2 / 1048576 }')
            ;;
        vfat)
            v_show_used=$(fsck.fat -n "$v_show_in" 2>/dev/null |
                sed -n 's/^.*: \([0-9]* files\), \([0-9]*\)\/\([0-9]*\) clusters$/\1, \2 of \3 clusters/p')
            ;;
    esac
    printf '%s, label %s, UUID %s; used: %s; last written: %s\n' "$v_type" "${v_label:-none}" "${v_uuid:-none}" \
        "${v_show_used:-unknown}" "${v_show_written:-unknown}"
    v_show=$(lsblk -nro MOUNTPOINT "$v_row_node" 2>/dev/null | grep -v -e '^$' -e "^$TARGET\$" -e "^$TARGET/" | tr '\n' ' ')
    [ -z "$v_show" ] || printf '      in use now: %s\n' "$v_show"
}
