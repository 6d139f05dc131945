# clock-source URL: prints the address whose answers tell the time: URL, or if that is empty the first network address
# in the medium's own package configuration.
verb_clock_source() {
    if [ -n "$1" ]; then
        # What follows the host, with its stand-ins for repository and architecture, is not needed.
        v_host=${1#*://}
        printf '%s://%s/\n' "${1%%://*}" "${v_host%%/*}"
        return 0
    fi
    cat /etc/apt/sources.list /etc/apt/sources.list.d/* /etc/pacman.d/mirrorlist /etc/yum.repos.d/*.repo \
        2>/dev/null | sed -n 's|^[^#]*\(https\{0,1\}://[^/ ]*\)/.*$|\1/|p' >"$WORK/clock-sources"
    head -n 1 "$WORK/clock-sources"
}
