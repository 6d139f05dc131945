# apt-installed PACKAGE...: every package is installed and configured, dpkg finds nothing half done, and nothing of the
# transaction's own (a ban on starting services, the medium's name servers) was left behind by a power cut.
verb_apt_installed() {
    if grep -qs '^# Bedplate: ' "$TARGET/usr/sbin/policy-rc.d"; then
        printf '%s still forbids services to start\n' "$TARGET/usr/sbin/policy-rc.d" >&2
        return 1
    fi
    if [ -e "$TARGET/etc/resolv.conf.aside" ] || [ -L "$TARGET/etc/resolv.conf.aside" ]; then
        printf '%s was not put back\n' "$TARGET/etc/resolv.conf.aside" >&2
        return 1
    fi
    # All at once first: each look reads the whole data base.
    # shellcheck disable=SC2016 # the dollar is dpkg-query's
    if v_all=$(in_target dpkg-query --show --showformat '${db:Status-Status}\n' -- "$@" 2>/dev/null) &&
        [ "$(printf '%s\n' "$v_all" | sort -u)" = installed ]; then
        set --
    fi
    # shellcheck disable=SC2016
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
