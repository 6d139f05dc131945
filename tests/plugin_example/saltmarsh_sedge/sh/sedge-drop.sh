# sedge-drop PACKAGE...: remove the packages from the running machine.
verb_base_sedge_drop() {
    in_target sedge-get remove "$@"
}
