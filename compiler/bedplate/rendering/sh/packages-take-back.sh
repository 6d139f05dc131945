# packages-take-back FAMILY PACKAGE...: remove those of the packages that packages-add has brought; one that was there before
# stays.
# uses: line-in packages-drop
verb_packages_take_back() {
    v_kind=$1 v_added=$TARGET/var/lib/bedplate/packages-added
    shift
    [ -e "$v_added" ] || return 0
    for v_package in "$@"; do
        shift
        ! verb_line_in "$v_added" "$v_package" || set -- "$@" "$v_package"
    done
    [ $# -gt 0 ] || return 0
    verb_packages_drop "$v_kind" "$@" || return 1
    printf '%s\n' "$@" >"$WORK/dropped" || return 1
    grep -Fvx -f "$WORK/dropped" "$v_added" >"$WORK/added"
    cat "$WORK/added" >"$v_added"
}
