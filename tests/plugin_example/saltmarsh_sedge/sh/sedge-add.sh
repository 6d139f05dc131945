# sedge-add RECOMMENDED PACKAGE...: install the packages on the running machine. RECOMMENDED says nothing here. What is not
# there yet is noted first, for sedge-take-back.
# uses: packages-note sedge-there
verb_base_sedge_add() {
    shift
    verb_packages_note verb_base_sedge_there "$@" || return 1
    in_target sedge-get install "$@"
}
