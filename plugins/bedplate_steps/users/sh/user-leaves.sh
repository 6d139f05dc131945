# user-leaves NAME GROUP: the account is no longer a member of the group.
# uses: user-outside
verb_user_leaves() {
    verb_user_outside "$1" "$2" 2>/dev/null && return 0
    in_target gpasswd --delete "$1" "$2" || return 1
}
