# table-is-whole SIZE SECTOR: the second header of the GPT on $DISK (SIZE bytes, SECTOR bytes a sector) is on the last
# sector, and the protective MBR has one record only, without a boot flag (UEFI specification 5.2.3 and 5.3.2).
verb_table_is_whole() {
    v_bytes=$(od -An -tu8 -j "$(($2 + 32))" -N 8 "$DISK") || return 1
    v_second=${v_bytes##* }
    if [ "$v_second" != "$(($1 / $2 - 1))" ]; then
        printf 'the second header is on sector %s, the last sector is %s\n' "$v_second" "$(($1 / $2 - 1))" >&2
        return 1
    fi
    v_bytes=$(od -An -v -tx1 -j 446 -N 64 "$DISK") || return 1
    # shellcheck disable=SC2086 # joined: a word is a byte
    v_records=$(printf '%s' $v_bytes)
    case $v_records in
        00??????ee??????????????????????*[!0]*) ;;
        00??????ee*) return 0 ;;
        00*) ;;
        *)
            printf 'the protective MBR carries a boot flag (byte 446 is %.2s, not 00): some firmware then ignores boot entries\n' \
                "$v_records" >&2
            return 1
            ;;
    esac
    printf 'the first sector is not a plain protective MBR\n' >&2
    return 1
}
