# fat-is-whole PARTUUID: that FAT volume has no fault but, at most, the mark of one that was not unmounted. Only looked at.
# Once partitions of ours are in the table, a power cut may have left more there, in our own files: mounting looks closer.
# uses: fat-read ours-in-table partition-node
verb_fat_is_whole() {
    verb_partition_node "$1" || return 1
    verb_fat_read "$v_node"
    [ "$v_fat" = faults ] || return 0
    if [ -n "$COPIES" ] && verb_ours_in_table; then
        return 0
    fi
    printf 'fsck.fat -n found faults on %s:\n' "$v_node" >&2
    grep -v -e '^fsck' -e '^$' -e 'unchanged' -e 'utomatically' "$WORK/fat" >&2
    return 1
}
