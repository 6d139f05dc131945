# pacman-offers PACKAGE...: the repositories of the configuration (standard input; empty: the medium's) are what pacman
# can read and, where it asks for that, signed; and they have every name, with all it needs. Nothing of it stays.
# uses: pacman-config
verb_pacman_offers() {
    v_config=$(verb_pacman_config) || return 1
    mkdir -p "$WORK/pacman-lists/local" || return 1
    pacman_lists -Syy >/dev/null || return 1
    pacman_lists -Sp --print-format %n -- "$@" >/dev/null
}

# pacman_lists WORD...: with lists of packages of its own, in memory: nothing counts as installed.
pacman_lists() {
    LC_ALL=C.UTF-8 pacman --config "$v_config" --dbpath "$WORK/pacman-lists" --logfile /dev/null --noconfirm "$@" \
        </dev/null
}
