# rpm-installed PACKAGE...: every package, or one that provides it, is installed, and no transaction was cut short.
# uses: base-whole
verb_rpm_installed() {
    verb_base_whole || return 1
    # All at once first: each look opens the data base.
    if [ $# -gt 0 ] && in_target rpm -q --quiet --whatprovides -- "$@" 2>/dev/null; then
        set --
    fi
    for v_package in "$@"; do
        if ! in_target rpm -q --quiet --whatprovides -- "$v_package" 2>/dev/null; then
            printf 'the package %s is not installed\n' "$v_package" >&2
            return 1
        fi
    done
}
