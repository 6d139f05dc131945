# copy-saved-table FILE PATH: carry the saved partition table into the target, whole or not at all. An older copy stays.
# uses: write-file
verb_copy_saved_table() {
    [ ! -s "$2" ] || return 0
    verb_write_file "$2" 600 0:0 <"$1" || return 1
}
