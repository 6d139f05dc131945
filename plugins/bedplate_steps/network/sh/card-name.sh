# card-name MAC|INTERFACE: print the name of that network card. A VLAN has its card's address, but no device of its own.
verb_card_name() {
    v_name=$1
    case $1 in
        *:*)
            for v_folder in /sys/class/net/*; do
                [ -e "$v_folder/device" ] || continue
                read -r v_mac 2>/dev/null <"$v_folder/address" || continue
                [ "$v_mac" != "$1" ] || v_name=${v_folder##*/}
            done
            ;;
    esac
    if [ ! -d "/sys/class/net/$v_name" ]; then
        printf 'there is no link %s\n' "$1" >&2
        return 1
    fi
    printf '%s\n' "$v_name"
}
