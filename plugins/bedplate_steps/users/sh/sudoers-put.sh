# sudoers-put PATH (content on standard input): put a sudo rule file in place, mode 0440, once visudo has found it good.
# Until then its name holds a dot, so that sudo passes over it.
verb_sudoers_put() {
    v_new=$1.new
    (umask 077 && cat >"$TARGET$v_new") || return 1
    if ! in_target visudo -c -f "$v_new"; then
        rm -f -- "$TARGET$v_new"
        printf 'visudo does not take the rules\n' >&2
        return 1
    fi
    chown 0:0 "$TARGET$v_new" && chmod 0440 "$TARGET$v_new" && sync "$TARGET$v_new" || return 1
    mv -fT -- "$TARGET$v_new" "$TARGET$1" || return 1
}
