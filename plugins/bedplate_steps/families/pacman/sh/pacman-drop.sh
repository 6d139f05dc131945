# pacman-drop PACKAGE...: remove the packages from the running machine, with what only they had brought along.
verb_pacman_drop() {
    for v_package in "$@"; do
        ! in_target pacman -Qq -- "$v_package" >/dev/null 2>&1 ||
            in_target env LC_ALL=C.UTF-8 pacman -Rns --noconfirm -- "$v_package" || return 1
    done
}
