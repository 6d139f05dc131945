# make-container WHERE UUID LABEL (passphrase on standard input, no line end): make an encrypted container (LUKS2).
# uses: partition-node
verb_make_container() {
    v_node=$(verb_partition_node "$1") || return 1
    cryptsetup luksFormat --batch-mode --type luks2 --uuid "$2" --label "$3" --key-file - "$v_node" || return 1
    sync
}
