# accounts-let-go: take away the locks and the half-written files that a power cut left of a change to the target's account
# files (passwd(5) and those beside it). Only this script works in a target; on a running system they are left alone.
verb_accounts_let_go() {
    [ -n "$TARGET" ] || return 0
    for v_file in "$TARGET"/etc/passwd "$TARGET"/etc/shadow "$TARGET"/etc/group "$TARGET"/etc/gshadow \
        "$TARGET"/etc/subuid "$TARGET"/etc/subgid; do
        for v_left in "$v_file.lock" "$v_file+"; do
            [ ! -e "$v_left" ] || rm -f -- "$v_left" || return 1
        done
    done
}
