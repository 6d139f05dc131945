# swap-file-is-on PATH: the file is in use as swap.
verb_swap_file_is_on() {
    grep -q "^$1 " /proc/swaps && return 0
    printf '%s is not in use as swap\n' "$1" >&2
    return 1
}
