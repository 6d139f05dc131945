# packages-add FAMILY RECOMMENDED PACKAGE...: install the packages on the running machine, with its own package tool and
# sources. RECOMMENDED is yes or no; pacman has nothing of the kind.
# What is not there yet is noted first, for packages-take-back.
# uses: apt-names-known packages-there
verb_packages_add() {
    v_family=$1 v_recommended=$2 v_added=$TARGET/var/lib/bedplate/packages-added
    shift 2
    for v_package in "$@"; do
        verb_packages_there "$v_family" "$v_package" >/dev/null 2>&1 || printf '%s\n' "$v_package" >>"$v_added" || return 1
    done
    sync
    case $v_family in
        apt)
            verb_apt_names_known "$@" || return 1
            # As in apt-install: no package's script installs its loader by itself. Where that loader is in use, new
            # kernels must find their way to it.
            v_path=SYSTEMD_ESP_PATH=/nonexistent
            ! in_target bootctl is-installed --quiet 2>/dev/null || v_path=
            in_target DEBIAN_FRONTEND=noninteractive ${v_path:+"$v_path"} dpkg --force-confold --configure -a ||
                return 1
            in_target DEBIAN_FRONTEND=noninteractive ${v_path:+"$v_path"} apt-get -q -y \
                -o "APT::Install-Recommends=$v_recommended" -o Dpkg::Options::=--force-confold install -- "$@" || return 1
            in_target apt-get clean || return 1
            ;;
        pacman) in_target env LC_ALL=C.UTF-8 pacman -S --needed --noconfirm -- "$@" || return 1 ;;
        dnf)
            v_weak=True
            [ "$v_recommended" = yes ] || v_weak=False
            in_target dnf --setopt="install_weak_deps=$v_weak" -y install "$@" || return 1
            ;;
        *) return 1 ;;
    esac
}
