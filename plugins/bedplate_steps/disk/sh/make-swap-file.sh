# make-swap-file PATH MIB UUID: make a swap file without holes, for root only; on btrfs without copy-on-write (btrfs(5)). It
# grows under the name PATH.unfinished and gets its own when it is whole; what has that name already is never replaced.
# uses: swap-place-is-free
verb_make_swap_file() {
    verb_swap_place_is_free "$1" || return 1
    v_growing=$1.unfinished
    mkdir -p -- "${1%/*}/" || return 1
    rm -f -- "$v_growing" || return 1
    (umask 077 && : >"$v_growing") || return 1
    if [ "$(stat -f -c %T -- "$v_growing")" = btrfs ]; then
        chattr +C "$v_growing" || return 1
    fi
    dd if=/dev/zero of="$v_growing" bs=1M count="$2" conv=fsync || return 1
    mkswap -U "$3" "$v_growing" || return 1
    sync
    mv -nT -- "$v_growing" "$1" || return 1
    sync
}
