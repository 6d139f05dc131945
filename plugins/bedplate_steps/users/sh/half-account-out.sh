# half-account-out NAME: where the making of the account was cut off (a note says so), take what there is of it out of each
# account file (passwd(5) and those beside it). A group that was there before stays.
# uses: line-in
verb_half_account_out() {
    v_note=$TARGET/var/lib/bedplate/making-$1
    [ -e "$v_note" ] || return 0
    v_files='passwd shadow subuid subgid'
    ! verb_line_in "$v_note" 'with its group' || v_files="$v_files group gshadow"
    for v_file in $v_files; do
        [ ! -f "$TARGET/etc/$v_file" ] || sed -i "/^$1:/d" "$TARGET/etc/$v_file" || return 1
    done
}
