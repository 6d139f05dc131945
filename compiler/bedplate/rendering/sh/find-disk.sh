# find-disk SERIAL BY_ID MODEL SIZE SECTOR: print the node of the one disk with that identity. Empty words do not count.
# SIZE and SECTOR (logical sector size) in bytes.
verb_find_disk() {
    v_disk=
    v_like=
    v_nodes=$(lsblk -dnpo NAME) || return 1
    for v_node in $v_nodes; do
        verb_find_disk_matches "$v_node" "$1" "$2" "$3" "$4" "$5" || continue
        if [ -n "$v_disk" ]; then
            printf 'two disks have this identity: %s and %s\n' "$v_disk" "$v_node" >&2
            return 1
        fi
        v_disk=$v_node
    done
    if [ -z "$v_disk" ]; then
        printf 'no disk has this identity; the disks of this machine are:%s\n' "$v_like" >&2
        return 1
    fi
    printf '%s\n' "$v_disk"
}

verb_find_disk_matches() {
    v_serial=$(lsblk -dno SERIAL -- "$1" 2>/dev/null) || return 1
    v_model=$(lsblk -dno MODEL -- "$1" 2>/dev/null) || return 1
    v_sizes=$(lsblk -dnbo SIZE,LOG-SEC -- "$1" 2>/dev/null) || return 1
    verb_find_disk_trim "$v_serial" && v_serial=$v_trimmed
    verb_find_disk_trim "$v_model" && v_model=$v_trimmed
    verb_find_disk_trim "$v_sizes" && v_size=${v_trimmed%% *} v_sector=${v_trimmed##* }
    v_like="$v_like
    $1: serial '$v_serial', model '$v_model', $v_size bytes, sectors of $v_sector"
    if [ -n "$3" ]; then
        v_real=$(readlink -f -- "$3") || return 1
        [ "$v_real" = "$1" ] || return 1
    fi
    [ -z "$2" ] || [ "$v_serial" = "$2" ] || return 1
    [ -z "$4" ] || [ "$v_model" = "$4" ] || return 1
    [ -z "$5" ] || [ "$v_size" = "$5" ] || return 1
    [ -z "$6" ] || [ "$v_sector" = "$6" ] || return 1
}

verb_find_disk_trim() {
    v_trimmed=${1#"${1%%[! ]*}"}
    v_trimmed=${v_trimmed%"${v_trimmed##*[! ]}"}
}
