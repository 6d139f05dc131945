# row-contents (START SIZE TYPE GUID lines and others on standard input): the same, with the type and UUID of what
# blkid(8) sees in those sectors of $DISK behind each row, - for none. Two kinds of signature in one place are none of both.
verb_row_contents() {
    v_sector=$(lsblk -dnbo LOG-SEC "$DISK" | tr -d ' ') || return 1
    while read -r v_start v_size v_rest; do
        case $v_start in
            *[!0-9]*) v_kind='' ;;
            *)
                v_known=$(blkid -p -o export -O "$((v_start * v_sector))" -S "$((v_size * v_sector))" -- "$DISK")
                v_status=$?
                v_kind=$(printf '%s\n' "$v_known" | sed -n 's/^TYPE=//p')
                v_uuid=$(printf '%s\n' "$v_known" | sed -n 's/^UUID=//p')
                v_kind=" ${v_kind:--} ${v_uuid:--}"
                case $v_status in
                    0 | 2) ;;
                    *)
                        printf 'blkid does not tell what lies at sector %s (status %s)\n' "$v_start" "$v_status" >&2
                        return 1
                        ;;
                esac
                ;;
        esac
        printf '%s\n' "$v_start $v_size${v_rest:+ $v_rest}$v_kind"
    done
}
