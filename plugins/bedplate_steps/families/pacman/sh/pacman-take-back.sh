# pacman-take-back PACKAGE...: remove those of the packages that pacman-add has brought; one that was there before stays.
# uses: pacman-drop packages-noted
verb_pacman_take_back() {
    verb_packages_noted verb_pacman_drop "$@"
}
