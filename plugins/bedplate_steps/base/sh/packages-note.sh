# packages-note FUNCTION PACKAGE...: note, for packages-noted, each package of which FUNCTION says that it is not there.
verb_packages_note() {
    v_there=$1 v_added=$TARGET/var/lib/bedplate/packages-added
    shift
    for v_package in "$@"; do
        "$v_there" "$v_package" >/dev/null 2>&1 || printf '%s\n' "$v_package" >>"$v_added" || return 1
    done
    sync
}
