# ports-there DEVICE...: every one of them is there on this machine, as a serial port is.
verb_tide_gauge_ports_there() {
    for v_port in "$@"; do
        if [ ! -c "$v_port" ]; then
            printf 'this machine has no serial port %s\n' "$v_port" >&2
            return 1
        fi
    done
}
