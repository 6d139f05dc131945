# online needed|optional: the running system has a default route and a name server, and finds the name of its package
# source. Where no link has to be connected and none is, there is nothing to look at.
# uses: clock-source network-live
verb_online() {
    if [ "$1" = optional ]; then
        v_connected=
        for v_folder in /sys/class/net/*; do
            v_carrier=0
            read -r v_carrier 2>/dev/null <"$v_folder/carrier"
            [ "${v_folder##*/}" = lo ] || [ "$v_carrier" != 1 ] || v_connected=yes
        done
        if [ -z "$v_connected" ]; then
            printf 'no link is connected: there is nothing to look at\n'
            return 0
        fi
    fi
    verb_network_live /etc/resolv.conf || return 1
    v_source=$(verb_clock_source '')
    v_host=${v_source#*://}
    v_host=${v_host%%/*}
    v_host=${v_host%:*}
    if [ -z "$v_host" ]; then
        printf 'this system names no package source, so there is no name to ask for\n'
        return 0
    fi
    if ! getent ahosts "$v_host" >"$WORK/found-hosts"; then
        printf 'the name %s is not found\n' "$v_host" >&2
        return 1
    fi
    printf 'the name %s is found\n' "$v_host"
}
