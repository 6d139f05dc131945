# password-is NAME set|none: the account's password field holds a hash, or something that no password can match.
verb_password_is() {
    if [ -n "$TARGET" ] && { [ -e "$TARGET/etc/shadow.lock" ] || [ -e "$TARGET/etc/passwd.lock" ]; }; then
        printf 'a change to the account files was cut off\n' >&2
        return 1
    fi
    v_row=$(grep "^$1:" "$TARGET/etc/shadow")
    if [ -z "$v_row" ]; then
        printf '%s is not in the shadow file\n' "$1" >&2
        return 1
    fi
    v_field=${v_row#*:}
    case $2:${v_field%%:*} in
        set:\$* | none:!* | none:\**) return 0 ;;
        set:*) printf '%s has no usable password\n' "$1" >&2 ;;
        *) printf '%s can log in with a password, or without one\n' "$1" >&2 ;;
    esac
    return 1
}
