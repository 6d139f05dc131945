# sedge-gone PACKAGE...: none of the packages is installed.
verb_base_sedge_gone() {
    for v_package in "$@"; do
        in_target sedge-get verify "$v_package" >/dev/null 2>&1 || continue
        printf 'the package %s is still installed\n' "$v_package" >&2
        return 1
    done
}
