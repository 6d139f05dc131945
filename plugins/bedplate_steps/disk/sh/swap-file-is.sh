# swap-file-is PATH MIB UUID: the file is a swap area of that size and UUID, for root only.
verb_swap_file_is() {
    v_found="$(stat -c '%s %a %u' -- "$1" 2>/dev/null) $(blkid -p -o value -s UUID -- "$1")"
    [ "$v_found" = "$(($2 * 1048576)) 600 0 $3" ] && return 0
    printf '%s: size, mode, owner, UUID are: %s\n' "$1" "$v_found" >&2
    return 1
}
