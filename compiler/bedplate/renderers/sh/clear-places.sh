# clear-places (rows for sfdisk on standard input): zeros on the first and the last MiB of each place, out on the disk
# before any row names it: what lay there before must not look like a file system of the new partition.
verb_clear_places() {
    v_sector=$(lsblk -dnbo LOG-SEC "$DISK" | tr -d ' ')
    sed -n 's/^start=\([0-9]*\), size=\([0-9]*\),.*$/\1 \2/p' >"$WORK/places" || return 1
    v_count=$((1048576 / v_sector))
    while read -r v_start v_size; do
        for v_at in "$v_start" "$((v_start + v_size - v_count))"; do
            dd if=/dev/zero of="$DISK" bs="$v_sector" seek="$v_at" count="$v_count" conv=notrunc,fsync || return 1
        done
    done <"$WORK/places"
}
