# packages-known FAMILY PACKAGE...: the machine's package tool could install all of them, by the lists it has.
verb_packages_known() {
    v_family=$1
    shift
    case $v_family in
        apt) in_target apt-get -q -s install -- "$@" >/dev/null || return 1 ;;
        pacman) in_target pacman -Sp -- "$@" >/dev/null || return 1 ;;
        dnf)
            for v_package in "$@"; do
                [ -n "$(in_target dnf -q -C repoquery --whatprovides "$v_package" 2>/dev/null)" ] && continue
                printf 'the package %s is not in the lists\n' "$v_package" >&2
                return 1
            done
            ;;
        *) return 1 ;;
    esac
}
