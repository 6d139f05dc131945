# mount-by-table PATH: what the table of file systems says of PATH is mounted there.
verb_mount_by_table() {
    mkdir -p -- "$1" || return 1
    mountpoint -q "$1" || mount "$1" || return 1
}
