# apt-gone PACKAGE...: none of the packages is installed.
verb_apt_gone() {
    for v_package in "$@"; do
        # shellcheck disable=SC2016 # the dollar is dpkg-query's
        v_there=$(in_target dpkg-query --show --showformat '${db:Status-Status}' -- "$v_package" 2>/dev/null)
        [ "$v_there" = installed ] || continue
        printf 'the package %s is still installed\n' "$v_package" >&2
        return 1
    done
}
