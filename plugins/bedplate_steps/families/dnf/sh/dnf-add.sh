# dnf-add RECOMMENDED PACKAGE...: install the packages on the running machine, with its own package tool and sources.
# RECOMMENDED is yes or no. What is not there yet is noted first, for dnf-take-back.
# uses: packages-note rpm-installed
verb_dnf_add() {
    v_weak=True
    [ "$1" = yes ] || v_weak=False
    shift
    verb_packages_note verb_rpm_installed "$@" || return 1
    in_target dnf --setopt="install_weak_deps=$v_weak" -y install "$@"
}
