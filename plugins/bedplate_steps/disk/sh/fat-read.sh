# fat-read NODE: look at a FAT volume with `fsck.fat -n`, which writes nothing, and set v_fat: `whole`, `dirty` (nothing but
# the mark of a volume that was not unmounted), or `faults`; its words are in $WORK/fat. A line that is not known is a
# fault. That the boot sector's copy lacks the mark is said with it; fsck.fat(8) itself leaves that as it is.
verb_fat_read() {
    v_fat=whole
    LC_ALL=C fsck.fat -n "$1" >"$WORK/fat" 2>&1 && return 0
    v_fat=faults
    grep -q '^Dirty bit is set' "$WORK/fat" || return 0
    if ! grep -Ev -e '^$' -e '^fsck\.fat [0-9.]+ \([0-9-]+\)$' -e '^Dirty bit is set\.' \
        -e '^ Automatically removing dirty bit\.$' -e '^Leaving filesystem unchanged\.$' \
        -e '^There are differences between boot sector and its backup\.$' -e '^This is mostly harmless\. Differences: ' \
        -e '^ +[0-9]+:[0-9a-f]{2}/[0-9a-f]{2}(, [0-9]+:[0-9a-f]{2}/[0-9a-f]{2})*$' -e '^ +Not automatically fixing this\.$' \
        -e ': [0-9]+ files, [0-9]+/[0-9]+ clusters$' -- "$WORK/fat" >"$WORK/fat-faults"; then
        v_fat=dirty
    fi
}
