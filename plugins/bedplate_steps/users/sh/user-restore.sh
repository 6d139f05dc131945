# user-restore NAME: the password that user-drop kept is the account's again.
verb_user_restore() {
    v_kept=$TARGET/var/lib/bedplate/aside/shadow-$1
    [ -s "$v_kept" ] || return 0
    v_hash=$(cut -d: -f2 <"$v_kept") || return 1
    printf '%s:%s\n' "$1" "$v_hash" >"$WORK/password" || return 1
    in_target chpasswd -e <"$WORK/password" || return 1
    rm -f -- "$v_kept" "$WORK/password"
}
