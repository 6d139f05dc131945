# dnf-known PACKAGE...: the machine's package tool could install all of them, by the lists it has.
verb_dnf_known() {
    for v_package in "$@"; do
        [ -n "$(in_target dnf -q -C repoquery --whatprovides "$v_package" 2>/dev/null)" ] && continue
        printf 'the package %s is not in the lists\n' "$v_package" >&2
        return 1
    done
}
