# service-disabled ROOT UNIT: the unit is not enabled in the system whose root folder is ROOT, or is not known there.
verb_service_disabled() {
    v_state=$(systemctl --root="$1" is-enabled -- "$2" 2>/dev/null)
    case $v_state in
        enabled | enabled-runtime | alias)
            printf 'the unit %s is %s\n' "$2" "$v_state" >&2
            return 1
            ;;
    esac
}
