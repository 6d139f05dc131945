# packages-noted FUNCTION PACKAGE...: have FUNCTION remove those of the packages that packages-note has noted; one that was
# there before stays.
# uses: line-in
verb_packages_noted() {
    v_drop=$1 v_added=$TARGET/var/lib/bedplate/packages-added
    shift
    [ -e "$v_added" ] || return 0
    for v_package in "$@"; do
        shift
        ! verb_line_in "$v_added" "$v_package" || set -- "$@" "$v_package"
    done
    [ $# -gt 0 ] || return 0
    "$v_drop" "$@" || return 1
    printf '%s\n' "$@" >"$WORK/dropped" || return 1
    grep -Fvx -f "$WORK/dropped" "$v_added" >"$WORK/added"
    cat "$WORK/added" >"$v_added"
}
