# make-swap-file PATH MIB UUID: make a swap file without holes, for root only; on btrfs without copy-on-write (btrfs(5)).
verb_make_swap_file() {
    mkdir -p -- "${1%/*}/" || return 1
    rm -f -- "$1" || return 1
    (umask 077 && : >"$1") || return 1
    if [ "$(stat -f -c %T -- "$1")" = btrfs ]; then
        chattr +C "$1" || return 1
    fi
    dd if=/dev/zero of="$1" bs=1M count="$2" conv=fsync || return 1
    mkswap -U "$3" "$1" || return 1
    sync
}
