# user-drop NAME HOME: the account goes. Its row of the password table is kept for root alone, for the way back. The home
# folder stays, unless HOME names it: then it is deleted, where it is the account's own.
# uses: half-account-out
verb_user_drop() {
    verb_half_account_out "$1" || return 1
    rm -f -- "$TARGET/var/lib/bedplate/making-$1"
    grep -q "^$1:" "$TARGET/etc/passwd" || return 0
    v_aside=$TARGET/var/lib/bedplate/aside
    (umask 077 && mkdir -p -- "$v_aside" && grep "^$1:" "$TARGET/etc/shadow" >"$v_aside/shadow-$1") || return 1
    if [ -z "$2" ]; then
        in_target userdel "$1" || return 1
        return 0
    fi
    v_have=$(grep "^$1:" "$TARGET/etc/passwd" | cut -d: -f6)
    if [ "$v_have" != "$2" ]; then
        printf 'the home folder of %s is %s, not %s: nothing is deleted\n' "$1" "$v_have" "$2" >&2
        return 1
    fi
    in_target userdel --remove "$1" || return 1
}
