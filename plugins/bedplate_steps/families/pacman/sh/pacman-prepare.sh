# pacman-prepare: the folders a transaction into an empty root wants, and the medium's package keys.
verb_pacman_prepare() {
    for v_row in 0755:dev 0755:run 0755:etc 0755:etc/pacman.d 0755:etc/pacman.d/gnupg 0755:var/cache/pacman/pkg \
        0755:var/lib/pacman 0755:var/log 1777:tmp 0555:sys 0555:proc; do
        mkdir -p "$TARGET/${v_row#*:}" || return 1
        chmod "${v_row%%:*}" "$TARGET/${v_row#*:}" || return 1
    done
    for v_file in /etc/pacman.d/gnupg/*; do
        # Sockets and locks of running key agents stay behind.
        if [ -d "$v_file" ] || [ -f "$v_file" ]; then
            case $v_file in *.lock) continue ;; esac
            cp -Rp -- "$v_file" "$TARGET/etc/pacman.d/gnupg/" || return 1
        fi
    done
}
