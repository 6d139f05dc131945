# drop-block PATH MARKER SIGN: the file has no block of that marker any more; a file that is left empty is removed.
# uses: split-block write-file
verb_drop_block() {
    [ -e "$1" ] || return 0
    verb_split_block "$1" "$2" "$3" || return 1
    if [ ! -s "$WORK/outside" ]; then
        rm -f -- "$1" || return 1
        return 0
    fi
    v_block_mode=$(stat -c %a -- "$1") && v_block_owner=$(stat -c %u:%g -- "$1") || return 1
    verb_write_file "$1" "$v_block_mode" "$v_block_owner" <"$WORK/outside"
}
