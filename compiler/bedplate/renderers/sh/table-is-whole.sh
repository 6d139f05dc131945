# table-is-whole SIZE SECTOR: the second header of the GPT on $DISK (SIZE bytes, SECTOR bytes a sector) is on the last
# sector, and the protective MBR has one record only, without a boot flag (UEFI specification 5.2.3 and 5.3.2).
verb_table_is_whole() {
    v_second=$(od -An -tu8 -j "$(($2 + 32))" -N 8 "$DISK" | tr -d ' ')
    if [ "$v_second" != "$(($1 / $2 - 1))" ]; then
        printf 'the second header is on sector %s, the last sector is %s\n' "$v_second" "$(($1 / $2 - 1))" >&2
        return 1
    fi
    v_flag=$(od -An -tx1 -j 446 -N 1 "$DISK" | tr -d ' ')
    if [ "$v_flag" != 00 ]; then
        printf 'the protective MBR carries a boot flag (byte 446 is %s, not 00): some firmware then ignores boot entries\n' \
            "$v_flag" >&2
        return 1
    fi
    v_kind=$(od -An -tx1 -j 450 -N 1 "$DISK" | tr -d ' ')
    v_others=$(od -An -v -tx1 -j 462 -N 48 "$DISK" | tr -d ' \n0')
    if [ "$v_kind" != ee ] || [ -n "$v_others" ]; then
        printf 'the first sector is not a plain protective MBR\n' >&2
        return 1
    fi
}
