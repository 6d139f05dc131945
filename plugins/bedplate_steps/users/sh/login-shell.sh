# login-shell PATH: the shell is installed in the target and stands in its list of login shells.
verb_login_shell() {
    if ! in_target test -x "$1"; then
        printf '%s is not installed\n' "$1" >&2
        return 1
    fi
    grep -Fqx -e "$1" "$TARGET/etc/shells" && return 0
    printf '%s does not stand in /etc/shells\n' "$1" >&2
    return 1
}
