# make-container WHERE UUID LABEL (passphrase on standard input, no line end): make an encrypted container (LUKS2). It
# gets its label last: a power cut may leave one without a key, and that one is made again.
# uses: partition-node
verb_make_container() {
    verb_partition_node "$1" || return 1
    cryptsetup luksFormat --batch-mode --type luks2 --uuid "$2" --label unfinished --key-file - "$v_node" || return 1
    sync
    cryptsetup config --label "$3" "$v_node" || return 1
    sync
}
