# user-take-back NAME: the account goes, where user-present has made it; one that was there before is left. Its home stays.
# uses: half-account-out leave
verb_user_take_back() {
    verb_half_account_out "$1" || return 1
    v_made=$TARGET/var/lib/bedplate/made-user-$1
    grep -q "^$1:" "$TARGET/etc/passwd" || return 0
    if [ ! -e "$v_made" ]; then
        verb_leave "the account $1: it was there before"
        return
    fi
    in_target userdel "$1" && rm -f -- "$v_made" "$TARGET/var/lib/bedplate/made-group-$1"
}
