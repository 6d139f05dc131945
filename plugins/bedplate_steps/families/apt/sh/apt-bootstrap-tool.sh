# apt-bootstrap-tool: prints the tool of the medium that makes a minimal apt system.
verb_apt_bootstrap_tool() {
    for v_name in mmdebstrap debootstrap; do
        if command -v "$v_name" >/dev/null 2>&1; then
            printf '%s\n' "$v_name"
            return 0
        fi
    done
    printf 'the medium has neither mmdebstrap nor debootstrap\n' >&2
    return 1
}
