# user-is NAME UID HOME SHELL GROUPS FULL_NAME: the target's account is as planned, its home folder is its own, and it
# is in each of GROUPS (separated by commas).
verb_user_is() {
    if [ -e "$TARGET/var/lib/bedplate/making-$1" ]; then
        printf 'the account %s was being made when the work was cut off\n' "$1" >&2
        return 1
    fi
    v_row=$(grep "^$1:" "$TARGET/etc/passwd")
    if [ -z "$v_row" ]; then
        printf 'there is no account %s\n' "$1" >&2
        return 1
    fi
    IFS=: read -r _ _ v_uid v_gid v_name v_home v_shell <<END_OF_ROW
$v_row
END_OF_ROW
    v_have=$v_uid:$v_gid:$v_home:$v_shell
    if [ "$v_have" != "$2:$2:$3:$4" ]; then
        printf 'the account %s has number, group, home and shell %s, not %s\n' "$1" "$v_have" "$2:$2:$3:$4" >&2
        return 1
    fi
    if [ "${v_name%%,*}" != "$6" ]; then
        printf 'the account %s has the full name "%s", not "%s"\n' "$1" "${v_name%%,*}" "$6" >&2
        return 1
    fi
    v_owner=$(stat -c %u -- "$TARGET$3") || return 1
    if [ "$v_owner" != "$2" ]; then
        printf '%s belongs to number %s, not to %s (%s)\n' "$3" "$v_owner" "$1" "$2" >&2
        return 1
    fi
    v_rest=$5
    while [ -n "$v_rest" ]; do
        v_group=${v_rest%%,*}
        case $v_rest in
            *,*) v_rest=${v_rest#*,} ;;
            *) v_rest= ;;
        esac
        v_members=$(grep "^$v_group:" "$TARGET/etc/group")
        case ,${v_members##*:}, in
            *,"$1",*) ;;
            *)
                printf '%s is not in the group %s\n' "$1" "$v_group" >&2
                return 1
                ;;
        esac
    done
}
