# dnf-gone PACKAGE...: none of the packages is installed.
verb_dnf_gone() {
    for v_package in "$@"; do
        in_target rpm -q --quiet -- "$v_package" 2>/dev/null || continue
        printf 'the package %s is still installed\n' "$v_package" >&2
        return 1
    done
}
