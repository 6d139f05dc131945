# swap-file-on PATH: the file is used as swap.
# uses: swap-file-is-on
verb_swap_file_on() {
    verb_swap_file_is_on "$1" 2>/dev/null || swapon "$1" || return 1
}
