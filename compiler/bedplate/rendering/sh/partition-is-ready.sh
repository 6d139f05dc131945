# partition-is-ready PARTUUID: the kernel has the partition of $DISK where the table has it, and its node is there.
# uses: table-read table-row
verb_partition_is_ready() {
    verb_table_read || return 1
    verb_table_row "$1" || return 1
    v_sector=${TABLE#*"${NEW_LINE}sector-size: "}
    v_sector=${v_sector%%"$NEW_LINE"*}
    [ "$v_sector" != "${TABLE%%"$NEW_LINE"*}" ] || v_sector=512
    v_at=/sys/class/block/${v_row_node##*/}
    # The kernel counts in 512 bytes whatever the sector size is.
    v_want="$((v_row_start * v_sector / 512)) $((v_row_size * v_sector / 512))"
    v_start='' v_size=''
    [ ! -d "$v_at" ] || { read -r v_start <"$v_at/start" && read -r v_size <"$v_at/size"; } 2>/dev/null
    v_have="$v_start $v_size"
    if [ "$v_have" != "$v_want" ] || [ ! -b "$v_row_node" ]; then
        printf 'the kernel has %s at "%s", the table says "%s" (start and size in 512 bytes)\n' \
            "$v_row_node" "$v_have" "$v_want" >&2
        return 1
    fi
    [ -d /run/udev/data ] || return 0
    v_link=/dev/disk/by-partuuid/$(printf '%s' "$1" | tr 'A-F' 'a-f')
    [ "$(readlink -f -- "$v_link")" = "$v_row_node" ] && return 0
    printf '%s does not lead to %s\n' "$v_link" "$v_row_node" >&2
    return 1
}
