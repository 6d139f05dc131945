# apt-known PACKAGE...: the machine's package tool could install all of them, by the lists it has.
verb_apt_known() {
    in_target apt-get -q -s install -- "$@" >/dev/null
}
