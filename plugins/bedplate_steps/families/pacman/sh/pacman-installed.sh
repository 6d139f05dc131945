# pacman-installed PACKAGE...: every package, or one that provides it, is installed, and no transaction was cut short.
# uses: base-whole
verb_pacman_installed() {
    verb_base_whole || return 1
    v_missing=$(in_target pacman -T -- "$@" 2>&1)
    v_status=$?
    if [ "$v_status" -ne 0 ]; then
        printf 'these packages are not installed: %s\n' "$(printf '%s' "$v_missing" | tr '\n' ' ')" >&2
        return 1
    fi
}
