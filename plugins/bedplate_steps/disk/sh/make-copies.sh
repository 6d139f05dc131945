# make-copies: copies of the state before into a folder of their own on the second stick ($COPIES_NODE), never into one that
# is there; the list of digests comes last, so that a folder without it is no copy. Where the person wants no copies, only
# the lists that later proofs compare with, in memory. Sets $COPIES.
# uses: copies-reread esp-look partition-node state-of-before
verb_make_copies() {
    if [ -n "$NO_COPIES" ]; then
        mkdir -p -- "$WORK/seen" && verb_state_of_before "$WORK/seen" lists || return 1
        COPIES=$WORK/seen
        return 0
    fi
    if [ -z "$COPIES_NODE" ]; then
        printf 'no place for the copies was chosen\n' >&2
        return 1
    fi
    open_copies "$COPIES_NODE" rw || return 1
    v_number=1
    while [ -e "$COPIES_POINT/bedplate-$MACHINE-$v_number" ]; do
        v_number=$((v_number + 1))
    done
    v_copies=$COPIES_POINT/bedplate-$MACHINE-$v_number
    mkdir -- "$v_copies" && verb_state_of_before "$v_copies" whole || return 1
    printf 'machine: %s\ndisk: %s\nplan: %s\n' "$MACHINE" "$COPY_OF" "$DIGEST" >"$v_copies/about" || return 1
    (cd -- "$v_copies" && sha256sum -- *) >"$WORK/digests" || return 1
    cp -- "$WORK/digests" "$v_copies/SHA256SUMS.part" && sync || return 1
    mv -- "$v_copies/SHA256SUMS.part" "$v_copies/SHA256SUMS" && sync || return 1
    verb_copies_reread "$v_copies" || return 1
    for v_guid in ${KEPT_ESPS-}; do
        verb_partition_node "$v_guid" || return 1
        verb_esp_look "$v_node" tar -df "$v_copies/esp-$v_guid.tar" || return 1
    done
    COPIES=$v_copies
}
