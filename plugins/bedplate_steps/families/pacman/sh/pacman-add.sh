# pacman-add RECOMMENDED PACKAGE...: install the packages on the running machine, with its own package tool and sources.
# RECOMMENDED says nothing here. What is not there yet is noted first, for pacman-take-back.
# uses: packages-note pacman-installed
verb_pacman_add() {
    shift
    verb_packages_note verb_pacman_installed "$@" || return 1
    in_target env LC_ALL=C.UTF-8 pacman -S --needed --noconfirm -- "$@"
}
