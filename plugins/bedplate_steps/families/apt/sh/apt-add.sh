# apt-add RECOMMENDED PACKAGE...: install the packages on the running machine, with its own package tool and sources.
# RECOMMENDED is yes or no. What is not there yet is noted first, for apt-take-back.
# As in apt-install: no package's script installs its loader by itself. Where that loader is in use, new kernels must find
# their way to it.
# uses: apt-installed apt-names-known packages-note
verb_apt_add() {
    v_recommended=$1 v_path=SYSTEMD_ESP_PATH=/nonexistent
    shift
    verb_packages_note verb_apt_installed "$@" || return 1
    verb_apt_names_known "$@" || return 1
    ! in_target bootctl is-installed --quiet 2>/dev/null || v_path=
    in_target DEBIAN_FRONTEND=noninteractive ${v_path:+"$v_path"} dpkg --force-confold --configure -a || return 1
    in_target DEBIAN_FRONTEND=noninteractive ${v_path:+"$v_path"} apt-get -q -y \
        -o "APT::Install-Recommends=$v_recommended" -o Dpkg::Options::=--force-confold install -- "$@" || return 1
    in_target apt-get clean
}
