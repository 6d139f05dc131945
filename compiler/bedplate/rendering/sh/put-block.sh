# put-block PATH MARKER SIGN (content on standard input): the file ends with the block of that marker, and the block holds
# the content; the rest of the file stays. A file that is not there is made.
# uses: split-block write-file
verb_put_block() {
    cat >"$WORK/wanted" || return 1
    verb_split_block "$1" "$2" "$3" || return 1
    v_block_mode=644 v_block_owner=0:0
    if [ -e "$1" ]; then
        v_block_mode=$(stat -c %a -- "$1") && v_block_owner=$(stat -c %u:%g -- "$1") || return 1
    fi
    {
        cat <"$WORK/outside" &&
            { [ -z "$(tail -c 1 <"$WORK/outside")" ] || printf '\n'; } &&
            printf '%s begin %s\n' "$3" "$2" &&
            cat <"$WORK/wanted" &&
            printf '%s end %s\n' "$3" "$2"
    } >"$WORK/whole" || return 1
    verb_write_file "$1" "$v_block_mode" "$v_block_owner" <"$WORK/whole"
}
