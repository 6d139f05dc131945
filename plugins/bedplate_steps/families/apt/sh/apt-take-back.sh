# apt-take-back PACKAGE...: remove those of the packages that apt-add has brought; one that was there before stays.
# uses: apt-drop packages-noted
verb_apt_take_back() {
    verb_packages_noted verb_apt_drop "$@"
}
