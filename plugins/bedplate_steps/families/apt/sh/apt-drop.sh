# apt-drop PACKAGE...: remove the packages from the running machine, with what only they had brought along. What nobody
# needed before either is not theirs, and stays.
# uses: apt-leaving
verb_apt_drop() {
    verb_apt_leaving "$@" || return 1
    v_names=$(tr '\n' ' ' <"$WORK/leaving")
    [ -n "$v_names" ] || return 0
    # shellcheck disable=SC2086 # names, one word each
    in_target DEBIAN_FRONTEND=noninteractive apt-get -q -y --purge remove -- $v_names
}
