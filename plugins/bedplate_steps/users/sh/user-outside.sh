# user-outside NAME GROUP: the account is not a member of the group.
verb_user_outside() {
    v_members=$(grep "^$2:" "$TARGET/etc/group")
    case ,${v_members##*:}, in
        *,"$1",*)
            printf '%s is in the group %s\n' "$1" "$2" >&2
            return 1
            ;;
    esac
}
