# apt-install RECOMMENDED PACKAGE...: one apt-get transaction inside the target. RECOMMENDED is yes or no.
# uses: apt-names-known
verb_apt_install() {
    v_recommended=$1
    shift
    v_etc=$TARGET/etc
    # Name servers of the medium for the time of the transaction; what stands there is kept aside, also over a power cut.
    if [ ! -e "$v_etc/resolv.conf.aside" ] && [ ! -L "$v_etc/resolv.conf.aside" ]; then
        if [ -e "$v_etc/resolv.conf" ] || [ -L "$v_etc/resolv.conf" ]; then
            mv -- "$v_etc/resolv.conf" "$v_etc/resolv.conf.aside" || return 1
        fi
    fi
    rm -f "$v_etc/resolv.conf" || return 1
    cat /etc/resolv.conf >"$v_etc/resolv.conf" || return 1
    # invoke-rc.d(8): 101 forbids every start; services of the target must not start on the medium.
    printf '#!/bin/sh\n# Bedplate: nothing starts during the installation\nexit 101\n' \
        >"$TARGET/usr/sbin/policy-rc.d" || return 1
    chmod 755 "$TARGET/usr/sbin/policy-rc.d" || return 1
    apt_transaction "$@"
    v_result=$?
    rm -f "$TARGET/usr/sbin/policy-rc.d" "$v_etc/resolv.conf" || return 1
    if [ -e "$v_etc/resolv.conf.aside" ] || [ -L "$v_etc/resolv.conf.aside" ]; then
        mv -- "$v_etc/resolv.conf.aside" "$v_etc/resolv.conf" || return 1
    fi
    return "$v_result"
}

# apt_transaction PACKAGE...: what a power cut left half configured comes first; with nothing to do that does nothing.
apt_transaction() {
    apt_in_target dpkg --force-confold --configure -a || return 1
    # Without this mode a source whose signature is not accepted is a warning, and the exit status 0.
    apt_in_target apt-get -q -o Acquire::Retries=3 -o APT::Update::Error-Mode=any update || return 1
    verb_apt_names_known "$@" || return 1
    apt_in_target apt-get -q -y -o Acquire::Retries=3 \
        -o "APT::Install-Recommends=$v_recommended" -o Dpkg::Options::=--force-confold \
        install -- "$@" || return 1
    in_target apt-get clean || return 1
}

# apt_in_target COMMAND...: asks nothing, and goes through the medium's proxy if it has one. Without that path (systemd,
# ENVIRONMENT.md) a package's script would install its loader by itself, over \EFI\BOOT and first in the firmware's boot
# order (postinst of Debian's systemd-boot 252).
apt_in_target() {
    in_target DEBIAN_FRONTEND=noninteractive SYSTEMD_ESP_PATH=/nonexistent ${http_proxy:+"http_proxy=$http_proxy"} \
        ${https_proxy:+"https_proxy=$https_proxy"} "$@" </dev/null
}
