# packages-gone FAMILY PACKAGE...: none of the packages is installed.
verb_packages_gone() {
    v_family=$1
    shift
    for v_package in "$@"; do
        v_there=$(package_state "$v_family" "$v_package")
        if [ "$v_there" = installed ]; then
            printf 'the package %s is still installed\n' "$v_package" >&2
            return 1
        fi
    done
}

# package_state FAMILY PACKAGE: print `installed` if it is.
# shellcheck disable=SC2016 # the dollar is dpkg-query's
package_state() {
    case $1 in
        apt) in_target dpkg-query --show --showformat '${db:Status-Status}' -- "$2" 2>/dev/null ;;
        pacman) ! in_target pacman -Qq -- "$2" >/dev/null 2>&1 || echo installed ;;
        dnf) ! in_target rpm -q --quiet -- "$2" 2>/dev/null || echo installed ;;
    esac
}
