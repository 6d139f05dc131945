# ntfs-fits PARTUUID: the NTFS volume is not larger than its partition (sector count at byte 40, sector size at byte 11).
# uses: table-read table-row
verb_ntfs_fits() {
    verb_table_read || return 1
    verb_table_row "$1" || return 1
    v_sector=$(sed -n 's/^sector-size: //p' "$WORK/table")
    v_count=$(od -An -tu8 -j 40 -N 8 "$v_row_node" | tr -d ' ')
    v_each=$(od -An -tu2 -j 11 -N 2 "$v_row_node" | tr -d ' ')
    if [ "${v_count:-0}" -gt 0 ] && [ "$((v_count * v_each))" -le "$((v_row_size * ${v_sector:-512}))" ]; then
        return 0
    fi
    printf '%s: the volume has %s sectors of %s bytes, its partition %s of %s\n' \
        "$v_row_node" "$v_count" "$v_each" "$v_row_size" "${v_sector:-512}" >&2
    return 1
}
