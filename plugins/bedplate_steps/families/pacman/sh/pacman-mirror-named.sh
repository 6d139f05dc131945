# pacman-mirror-named: the target's mirror list names a server.
verb_pacman_mirror_named() {
    if ! grep -q '^[[:space:]]*Server[[:space:]]*=' "$TARGET/etc/pacman.d/mirrorlist"; then
        printf '%s names no server\n' "$TARGET/etc/pacman.d/mirrorlist" >&2
        return 1
    fi
}
