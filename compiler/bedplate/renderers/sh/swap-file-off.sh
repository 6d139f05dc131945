# swap-file-off PATH: the file is not used as swap, and is gone.
# uses: swap-file-is-on
verb_swap_file_off() {
    ! verb_swap_file_is_on "$1" 2>/dev/null || swapoff "$1" || return 1
    rm -f -- "$1" || return 1
}
