# outside-places: print the node of every file system on a device that can be unplugged, one a line: what could hold copies
# that outlive this medium. None on $DISK, none on the disk that the live system runs from, none that cannot be written.
# lsblk(8): HOTPLUG is 1 for sticks, cards and USB disks; many of the last say RM 0.
# uses: runs-the-medium
verb_outside_places() {
    v_ours=$(lsblk -nrpo NAME "$DISK") || return 1
    v_nodes=$(lsblk -nrpo NAME) || return 1
    for v_node in $v_nodes; do
        verb_word_in "$v_node" "$v_ours" && continue
        case $(lsblk -dnro HOTPLUG,RO,TYPE -- "$v_node" 2>/dev/null) in
            '1 0 part' | '1 0 disk') ;;
            *) continue ;;
        esac
        case $(blkid -p -o value -s TYPE -- "$v_node" 2>/dev/null) in
            vfat | exfat | ntfs | ext[234] | xfs | btrfs | f2fs) ;;
            *) continue ;;
        esac
        verb_runs_the_medium "$v_node" || printf '%s\n' "$v_node"
    done
}

verb_word_in() {
    for v_word in $2; do
        [ "$v_word" != "$1" ] || return 0
    done
    return 1
}
