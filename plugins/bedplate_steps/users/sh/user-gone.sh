# user-gone NAME: the target has no account of that name.
verb_user_gone() {
    grep -q "^$1:" "$TARGET/etc/passwd" || return 0
    printf 'there is still an account %s\n' "$1" >&2
    return 1
}
