# target-is-closed: nothing is mounted at the target or below it.
verb_target_is_closed() {
    findmnt -rno TARGET >"$WORK/mounts" || return 1
    if grep -e "^$TARGET\$" -e "^$TARGET/" "$WORK/mounts" >&2; then
        printf 'still mounted\n' >&2
        return 1
    fi
}
