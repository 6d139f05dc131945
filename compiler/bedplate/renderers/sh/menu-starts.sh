# menu-starts FILE BOOT WORD...: FILE (a menu, or a folder of boot loader specification entries) starts a kernel, every
# kernel and initramfs it names lies in BOOT, and every line with kernel parameters has each WORD.
verb_menu_starts() {
    v_menu=$1 v_boot=$2 v_kernels=0
    shift 2
    if [ -d "$v_menu" ]; then
        cat "$v_menu"/*.conf >"$WORK/menu" || return 1
    else
        cat "$v_menu" >"$WORK/menu" || return 1
    fi
    while read -r v_first v_rest; do
        case $v_first in
            linux)
                v_kernels=$((v_kernels + 1))
                verb_menu_starts_has "$v_boot" "${v_rest%% *}" || return 1
                [ -d "$v_menu" ] || verb_menu_starts_words "$v_rest" "$@" || return 1
                ;;
            initrd)
                for v_word in $v_rest; do
                    case $v_word in
                        /*) verb_menu_starts_has "$v_boot" "$v_word" || return 1 ;;
                    esac
                done
                ;;
            options) [ ! -d "$v_menu" ] || verb_menu_starts_words "$v_rest" "$@" || return 1 ;;
        esac
    done <"$WORK/menu"
    [ "$v_kernels" -gt 0 ] && return 0
    printf '%s starts no kernel\n' "$v_menu" >&2
    return 1
}

verb_menu_starts_has() {
    [ -f "$1/${2##*/}" ] && return 0
    printf 'the menu names %s, and %s has no such file\n' "$2" "$1" >&2
    return 1
}

verb_menu_starts_words() {
    v_line=$1
    shift
    for v_word in "$@"; do
        case " $v_line " in
            *" $v_word "*) ;;
            *)
                printf 'the menu starts a kernel without %s: %s\n' "$v_word" "$v_line" >&2
                return 1
                ;;
        esac
    done
}
