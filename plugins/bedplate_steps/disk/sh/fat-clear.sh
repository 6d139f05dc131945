# fat-clear NODE: clear the mark of a FAT volume that it was not unmounted, where Linux itself sets it (bit 0 of byte 65 of
# the boot sector with FAT32, else of byte 37: fs/fat/inode.c, fat_set_state), and prove that not one other byte changed.
verb_fat_clear() {
    v_at=37
    # The count of sectors of a FAT, 16 bits at 22, is 0 with FAT32 only (FAT specification, 3.1).
    [ "$(od -An -tu2 -j 22 -N 2 "$1" | tr -d ' ')" != 0 ] || v_at=65
    dd if="$1" of="$WORK/sector" bs=512 count=1 2>/dev/null || return 1
    v_byte=$(od -An -tu1 -j "$v_at" -N 1 "$WORK/sector" | tr -d ' ')
    # The other system keeps such a mark in its table of clusters; Linux does not read that one, and it stays.
    [ $((v_byte & 1)) -eq 1 ] || return 0
    v_rest=$(tail -c +513 -- "$1" | sha256sum) || return 1
    # shellcheck disable=SC2059 # the format is three octal digits of ours
    printf "\\$(printf '%03o' "$((v_byte & 254))")" | dd of="$1" bs=1 seek="$v_at" conv=notrunc 2>/dev/null || return 1
    sync "$1" || return 1
    v_differ=$(dd if="$1" bs=512 count=1 2>/dev/null | cmp -l - "$WORK/sector" | tr -s ' ' | sed 's/^ //')
    if [ "${v_differ%% *}" != "$((v_at + 1))" ] || [ "$v_differ" != "${v_differ%%"$NEW_LINE"*}" ] ||
        [ "$(tail -c +513 -- "$1" | sha256sum)" != "$v_rest" ]; then
        printf 'more than the mark has changed on %s\n' "$1" >&2
        return 1
    fi
    say '    The EFI system partition was marked as not unmounted; that mark is cleared, and nothing else changed.'
}
