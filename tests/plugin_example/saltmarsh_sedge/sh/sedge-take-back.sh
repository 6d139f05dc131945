# sedge-take-back PACKAGE...: remove those of the packages that sedge-add has brought; one that was there before stays.
# uses: packages-noted sedge-drop
verb_base_sedge_take_back() {
    verb_packages_noted verb_base_sedge_drop "$@"
}
