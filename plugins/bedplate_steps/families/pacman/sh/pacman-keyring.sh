# pacman-keyring: the medium's pacman has keys.
verb_pacman_keyring() {
    for v_ring in /etc/pacman.d/gnupg/pubring.gpg /etc/pacman.d/gnupg/pubring.kbx; do
        [ -s "$v_ring" ] && return 0
    done
    printf 'there is no key ring in /etc/pacman.d/gnupg\n' >&2
    return 1
}
