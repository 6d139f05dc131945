# state-of-before FOLDER whole|lists: write what the machine is before our work into FOLDER: the partition table, the
# firmware's boot entries and their order, and a list (SHA-256) of all files of each kept EFI system partition; whole: also
# the first and last MiB of $DISK, which hold both copies of the table, and an archive of each of those partitions.
# uses: esp-look partition-node table-before
verb_state_of_before() {
    # shellcheck disable=SC2086 # a word is a GUID
    verb_table_before "$OUR_TABLE" ${OUR_PARTITIONS-} || return 1
    cp -- "$WORK/before" "$1/table.dump" || return 1
    if [ "$2" = whole ]; then
        v_sector=$(lsblk -dnbo LOG-SEC "$DISK" | tr -d ' ')
        v_size=$(lsblk -dnbo SIZE "$DISK" | tr -d ' ')
        v_count=$((1048576 / v_sector))
        dd if="$DISK" of="$1/table-first.img" bs="$v_sector" count="$v_count" || return 1
        dd if="$DISK" of="$1/table-last.img" bs="$v_sector" skip="$((v_size / v_sector - v_count))" || return 1
    fi
    for v_file in /sys/firmware/efi/efivars/Boot[0-9A-F][0-9A-F][0-9A-F][0-9A-F]-8be4df61-93ca-11d2-aa0d-00e098032b8c \
        /sys/firmware/efi/efivars/BootOrder-8be4df61-93ca-11d2-aa0d-00e098032b8c; do
        [ ! -e "$v_file" ] || cat "$v_file" >"$1/${v_file##*/}" || return 1
    done
    for v_guid in ${KEPT_ESPS-}; do
        verb_partition_node "$v_guid" || return 1
        verb_esp_look "$v_node" verb_state_of_files "$1/esp-$v_guid" "$2" || return 1
    done
}

# In the root of the EFI system partition.
verb_state_of_files() {
    find . -type f -exec sha256sum -- {} + >"$1.sha256" || return 1
    [ "$2" != whole ] || tar -cf "$1.tar" . || return 1
}
