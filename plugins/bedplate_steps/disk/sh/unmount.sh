# unmount PATH: nothing is mounted there any more; an empty folder that is left is removed.
verb_unmount() {
    while mountpoint -q "$1"; do
        umount "$1" || return 1
    done
    [ ! -d "$1" ] || rmdir -- "$1" 2>/dev/null || :
}
