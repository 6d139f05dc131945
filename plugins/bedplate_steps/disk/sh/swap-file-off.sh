# swap-file-off PATH UUID: our swap file is not in use, and is gone. A file of that name that is no swap area with our UUID
# is somebody else's, and stays.
# uses: swap-file-is-on
verb_swap_file_off() {
    rm -f -- "$1.unfinished" || return 1
    [ -e "$1" ] || [ -L "$1" ] || return 0
    v_found="$(blkid -p -o value -s TYPE -- "$1") $(blkid -p -o value -s UUID -- "$1")"
    if [ -L "$1" ] || [ "$v_found" != "swap $2" ]; then
        printf '%s is not the swap file that was made here (found: %s): it stays as it is\n' "$1" "$v_found" >&2
        return 1
    fi
    ! verb_swap_file_is_on "$1" 2>/dev/null || swapoff "$1" || return 1
    rm -f -- "$1" || return 1
}
