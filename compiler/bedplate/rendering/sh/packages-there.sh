# packages-there FAMILY PACKAGE...: every package is installed and whole, as the family's own data base says.
# uses: apt-installed pacman-installed rpm-installed
verb_packages_there() {
    v_family=$1
    shift
    case $v_family in
        apt) verb_apt_installed "$@" ;;
        pacman) verb_pacman_installed "$@" ;;
        dnf) verb_rpm_installed "$@" ;;
        *) return 1 ;;
    esac
}
