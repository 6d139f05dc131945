# block-is PATH MARKER SIGN (content on standard input): the file has the block of that marker, and it holds the content.
# uses: split-block
verb_block_is() {
    v_want=$(sha256sum) || return 1
    verb_split_block "$1" "$2" "$3" || return 1
    v_have=$(sha256sum <"$WORK/inside") || return 1
    if [ "$v_have" != "$v_want" ]; then
        printf '%s has no block %s that holds what is planned\n' "$1" "$2" >&2
        return 1
    fi
}
