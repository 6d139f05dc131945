# group-gone NAME: the target has no group of that name.
verb_group_gone() {
    grep -q "^$1:" "$TARGET/etc/group" || return 0
    printf 'there is still a group %s\n' "$1" >&2
    return 1
}
