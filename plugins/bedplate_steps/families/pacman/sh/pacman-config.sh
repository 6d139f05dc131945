# pacman-config: prints the path of the configuration to use: what comes on standard input, or if that is empty the
# medium's own.
verb_pacman_config() {
    cat >"$WORK/pacman.conf" || return 1
    if [ -s "$WORK/pacman.conf" ]; then
        printf '%s\n' "$WORK/pacman.conf"
    else
        printf '%s\n' /etc/pacman.conf
    fi
}
