# base-whole: the target has a root and carries no mark of an unfinished base.
verb_base_whole() {
    if [ -e "$TARGET/.base-unfinished" ]; then
        printf 'an interrupted run left a half-made base in %s\n' "$TARGET/" >&2
        return 1
    fi
    if [ ! -d "$TARGET/etc" ] || [ ! -d "$TARGET/var" ]; then
        printf 'there is no base in %s\n' "$TARGET/" >&2
        return 1
    fi
}
