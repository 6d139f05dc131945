# stamp-is ID DIGEST: the target carries the stamp of that action, in exactly the form that this script carries out.
verb_stamp_is() {
    v_stamp=
    if [ -f "$TARGET/var/lib/bedplate/stamps/$1" ]; then
        IFS= read -r v_stamp <"$TARGET/var/lib/bedplate/stamps/$1" || v_stamp=
    fi
    [ "$v_stamp" = "$2" ] && return 0
    if [ -n "$v_stamp" ]; then
        printf 'the target carries the stamp of another version of %s\n' "$1" >&2
    else
        printf 'the target carries no stamp of %s\n' "$1" >&2
    fi
    return 1
}
