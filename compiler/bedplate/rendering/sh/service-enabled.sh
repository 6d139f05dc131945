# service-enabled ROOT UNIT: the unit is enabled in the system whose root folder is ROOT.
verb_service_enabled() {
    v_state=$(systemctl --root="$1" is-enabled -- "$2" 2>/dev/null)
    case $v_state in
        enabled | enabled-runtime | static | alias | indirect | generated) return 0 ;;
    esac
    printf 'the unit %s is %s\n' "$2" "${v_state:-not known}" >&2
    return 1
}
