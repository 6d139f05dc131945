# copy-saved-table PATH: carry the partition table of before from the copies into the target, whole or not at all. An older
# copy stays.
# uses: write-file
verb_copy_saved_table() {
    [ ! -s "$1" ] || return 0
    if [ -z "$COPIES" ]; then
        printf 'the copies of the state before are not at hand\n' >&2
        return 1
    fi
    verb_write_file "$1" 600 0:0 <"$COPIES/table.dump" || return 1
}
