# user-present NAME UID HOME SHELL GROUPS FULL_NAME: the target has the account with a group of the same name and number;
# one that is there already is changed to be so, except for its number and home, which must be right.
# The home folder comes first, whole: what is there of an account is never without it.
# uses: group-present group-is home-present
verb_user_present() {
    v_other=$(grep "^[^:]*:[^:]*:$2:" "$TARGET/etc/passwd" | cut -d: -f1)
    if [ -n "$v_other" ] && [ "$v_other" != "$1" ]; then
        printf 'the number %s belongs to the account %s already\n' "$2" "$v_other" >&2
        return 1
    fi
    verb_group_present "$1" "$2" || return 1
    verb_home_present "$2" "$3" || return 1
    v_row=$(grep "^$1:" "$TARGET/etc/passwd")
    if [ -z "$v_row" ]; then
        in_target useradd --uid "$2" --gid "$2" --no-create-home --home-dir "$3" --shell "$4" --groups "$5" \
            --comment "$6" "$1" || return 1
    else
        v_have=$(printf '%s\n' "$v_row" | cut -d: -f3,6)
        if [ "$v_have" != "$2:$3" ]; then
            printf 'the account %s is there already, with number and home %s, not %s\n' "$1" "$v_have" "$2:$3" >&2
            return 1
        fi
        in_target usermod --gid "$2" --shell "$4" --comment "$6" --append --groups "$5" "$1" || return 1
    fi
}
