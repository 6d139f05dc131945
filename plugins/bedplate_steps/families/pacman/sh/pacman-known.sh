# pacman-known PACKAGE...: the machine's package tool could install all of them, by the lists it has.
verb_pacman_known() {
    in_target pacman -Sp -- "$@" >/dev/null
}
