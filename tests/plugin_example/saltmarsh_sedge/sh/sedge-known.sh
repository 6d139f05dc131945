# sedge-known PACKAGE...: the machine's lists have them all.
verb_base_sedge_known() {
    in_target sedge-get find "$@" >/dev/null
}
