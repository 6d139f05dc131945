# pacman-install PACKAGE...: one transaction into the target. The configuration comes on standard input (empty: the
# medium's). The target is marked as unfinished meanwhile: a half-done transaction can't be told from a whole one.
# uses: base-done base-mark pacman-config
verb_pacman_install() {
    v_config=$(verb_pacman_config) || return 1
    verb_base_mark || return 1
    # --root leaves cache, keys and hooks on the medium (pacman(8)): the cache must not fill its memory, and the
    # target's hooks are those that count.
    pacman --config "$v_config" --root "$TARGET" --cachedir "$TARGET/var/cache/pacman/pkg" \
        --hookdir "$TARGET/etc/pacman.d/hooks" --noconfirm --needed -Sy -- "$@" </dev/null || return 1
    find "$TARGET/var/cache/pacman/pkg" -type f -exec rm -f -- {} + || return 1
    verb_base_done
}
