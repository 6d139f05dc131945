# sedge-there PACKAGE...: every package is installed.
verb_base_sedge_there() {
    in_target sedge-get verify "$@"
}
