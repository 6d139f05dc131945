# user-present NAME UID HOME SHELL GROUPS FULL_NAME: the target has the account with a group of the same name and number;
# one that is there already is changed to be so, except for its number and home, which must be right.
# The home folder comes first, whole: what is there of an account is never without it. useradd(8) writes six files, so a
# note says that an account is being made: what a power cut left of it is taken out of each, and it is made anew.
# uses: accounts-let-go group-is group-present half-account-out home-present
verb_user_present() {
    verb_accounts_let_go || return 1
    verb_half_account_out "$1" || return 1
    v_other=$(grep "^[^:]*:[^:]*:$2:" "$TARGET/etc/passwd")
    v_other=${v_other%%:*}
    if [ -n "$v_other" ] && [ "$v_other" != "$1" ]; then
        printf 'the number %s belongs to the account %s already\n' "$2" "$v_other" >&2
        return 1
    fi
    v_row=$(grep "^$1:" "$TARGET/etc/passwd")
    if [ -z "$v_row" ]; then
        verb_user_present_make "$@"
        return
    fi
    IFS=: read -r _ _ v_uid _ _ v_home _ <<END_OF_ROW
$v_row
END_OF_ROW
    if [ "$v_uid:$v_home" != "$2:$3" ]; then
        printf 'the account %s is there already, with number and home %s, not %s\n' "$1" "$v_uid:$v_home" "$2:$3" >&2
        return 1
    fi
    verb_group_present "$1" "$2" || return 1
    verb_home_present "$2" "$3" || return 1
    in_target usermod --gid "$2" --shell "$4" --comment "$6" --append --groups "$5" "$1" || return 1
}

verb_user_present_make() {
    v_with=
    if grep -q "^$1:" "$TARGET/etc/group"; then
        verb_group_is "$1" "$2" || return 1
    else
        v_with='with its group'
    fi
    mkdir -p -- "${v_note%/*}" || return 1
    printf '%s\n' "$v_with" >"$v_note" && sync || return 1
    verb_group_present "$1" "$2" || return 1
    verb_home_present "$2" "$3" || return 1
    in_target useradd --uid "$2" --gid "$2" --no-create-home --home-dir "$3" --shell "$4" --groups "$5" \
        --comment "$6" "$1" || return 1
    : >"$TARGET/var/lib/bedplate/made-user-$1" || return 1
    sync || return 1
    rm -f -- "$v_note" || return 1
    sync
}
