# dnf-take-back PACKAGE...: remove those of the packages that dnf-add has brought; one that was there before stays.
# uses: dnf-drop packages-noted
verb_dnf_take_back() {
    verb_packages_noted verb_dnf_drop "$@"
}
