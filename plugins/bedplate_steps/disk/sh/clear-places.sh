# clear-places (rows for sfdisk on standard input): zeros on the first and the last MiB of each place, out on the disk
# before any row names it: what lay there before must not look like a file system of the new partition.
verb_clear_places() {
    v_sector=$(lsblk -dnbo LOG-SEC "$DISK") || return 1
    v_sector=$((v_sector)) # without the blanks before it
    sed -n 's/^start=\([0-9]*\), size=\([0-9]*\),.*$/\1 \2/p' >"$WORK/new-places" || return 1
    v_each=$((1048576 / v_sector))
    while read -r v_start v_size; do
        for v_at in "$v_start" "$((v_start + v_size - v_each))"; do
            # In one piece where it lies on a whole MiB; else sector by sector.
            v_block=$v_sector v_count=$v_each
            [ $((v_at % v_each)) -ne 0 ] || v_block=1048576 v_at=$((v_at / v_each)) v_count=1
            dd if=/dev/zero of="$DISK" bs="$v_block" seek="$v_at" count="$v_count" conv=notrunc || return 1
        done
    done <"$WORK/new-places"
    sync "$DISK"
}
