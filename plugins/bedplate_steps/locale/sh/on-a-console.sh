# on-a-console: the answers are typed on a console of this machine, whose keymap counts. A serial line, a terminal window
# and a login over the network bring a keymap of their own.
verb_on_a_console() {
    # Standard input of the script is at 3, but not for what it starts. Names: Linux, admin-guide/devices.txt, 4 and 5.
    case $(readlink "/proc/$$/fd/3") in
        /dev/tty[0-9]*) return 0 ;;
        /dev/console | /dev/tty0) ;;
        *) return 1 ;;
    esac
    read -r v_active </sys/class/tty/console/active || return 0
    case ${v_active##* } in
        tty[0-9]*) return 0 ;;
    esac
    return 1
}
