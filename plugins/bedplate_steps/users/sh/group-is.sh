# group-is NAME GID: the target has the group, with that number unless GID is empty.
verb_group_is() {
    v_row=$(grep "^$1:" "$TARGET/etc/group")
    if [ -z "$v_row" ]; then
        printf 'there is no group %s\n' "$1" >&2
        return 1
    fi
    v_have=${v_row#*:*:}
    v_have=${v_have%%:*}
    if [ -n "$2" ] && [ "$v_have" != "$2" ]; then
        printf 'the group %s has number %s, not %s\n' "$1" "$v_have" "$2" >&2
        return 1
    fi
}
