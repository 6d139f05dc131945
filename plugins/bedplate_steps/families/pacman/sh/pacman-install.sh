# pacman-install PACKAGE...: one transaction into the target. The configuration comes on standard input (empty: the
# medium's). The target is marked as unfinished while packages are unpacked: a half-done transaction can't be told from a
# whole one. What usually fails, names and fetching, is done before that.
# uses: base-done base-mark pacman-config
verb_pacman_install() {
    v_config=$(verb_pacman_config) || return 1
    pacman_in_root -Syw --needed -- "$@" || return 1
    verb_base_mark || return 1
    pacman_in_root -S --needed -- "$@" || return 1
    verb_base_done || return 1
    find "$TARGET/var/cache/pacman/pkg" -type f -exec rm -f -- {} +
}

# pacman_in_root WORD...: --root alone leaves cache, keys and hooks on the medium (pacman(8)): the cache must not fill its
# memory, and the target's hooks are those that count. File names beyond ASCII need a locale that knows them (from memory).
pacman_in_root() {
    LC_ALL=C.UTF-8 pacman --config "$v_config" --root "$TARGET" --cachedir "$TARGET/var/cache/pacman/pkg" \
        --hookdir "$TARGET/etc/pacman.d/hooks" --noconfirm "$@" </dev/null
}
