# group-present NAME GID: the target has the group, with that number, or with a free system number if GID is empty.
# uses: accounts-let-go group-is
verb_group_present() {
    verb_accounts_let_go || return 1
    if grep -q "^$1:" "$TARGET/etc/group"; then
        verb_group_is "$1" "$2"
        return
    fi
    # For group-take-back.
    mkdir -p -- "$TARGET/var/lib/bedplate" && : >"$TARGET/var/lib/bedplate/made-group-$1" && sync || return 1
    if [ -n "$2" ]; then
        in_target groupadd --gid "$2" "$1" || return 1
    else
        in_target groupadd --system "$1" || return 1
    fi
}
