# half-account-out NAME: where the making of the account was cut off (a note says so), take what there is of it out of each
# account file (passwd(5) and those beside it).
verb_half_account_out() {
    [ -e "$TARGET/var/lib/bedplate/making-$1" ] || return 0
    for v_file in passwd shadow group gshadow subuid subgid; do
        [ ! -f "$TARGET/etc/$v_file" ] || sed -i "/^$1:/d" "$TARGET/etc/$v_file" || return 1
    done
}
