# apt-installed PACKAGE...: every package is installed and configured, and dpkg finds nothing half done.
verb_apt_installed() {
    # shellcheck disable=SC2016 # the dollar is dpkg-query's
    for v_package in "$@"; do
        v_status=$(in_target dpkg-query --show --showformat '${db:Status-Status}' -- "$v_package" 2>/dev/null)
        if [ "$v_status" != installed ]; then
            printf 'the package %s is %s\n' "$v_package" "${v_status:-not installed}" >&2
            return 1
        fi
    done
    # Its exit status does not tell; what it prints does.
    v_audit=$(in_target dpkg --audit) || return 1
    if [ -n "$v_audit" ]; then
        printf 'dpkg finds packages that are half done:\n%s\n' "$v_audit" >&2
        return 1
    fi
}
