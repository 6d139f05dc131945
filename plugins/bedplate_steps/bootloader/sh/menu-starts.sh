# menu-starts FILE BOOT ROOTS FLAGS WORD...: FILE (a menu, or a folder of boot loader specification entries) starts a
# kernel; every kernel and initramfs it names lies in BOOT; every line with kernel parameters names the root file system
# once, in one of the ways of ROOTS (values of root=, one blank between them), mounts it with FLAGS (of rootflags=; they may
# be empty), has each WORD, and none that belongs to a live medium: kernel-command-line(7), live-boot(7),
# dracut.cmdline(7); those of pacman's medium from memory.
verb_menu_starts() {
    v_menu=$1 v_boot=$2 v_roots=$3 v_flags=$4 v_kernels=0
    shift 4
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
                verb_menu_starts_wrong "without $v_word"
                return 1
                ;;
        esac
    done
    v_found='' v_given=''
    set -f
    for v_word in $v_line; do
        case $v_word in
            root=*) v_found="$v_found ${v_word#root=}" ;;
            rootflags=*) v_given="$v_given ${v_word#rootflags=}" ;;
            boot=live | boot=casper | toram | toram=* | copytoram* | live-media* | findiso=* | fromiso=* | iso-scan/* | \
                persistence | persistence-* | cow_* | archiso* | rd.live.* | inst.* | fetch=*)
                set +f
                verb_menu_starts_wrong "with $v_word, a word for a live medium"
                return 1
                ;;
        esac
    done
    set +f
    case " $v_roots " in
        *" ${v_found# } "*) v_known=yes ;;
        *) v_known= ;;
    esac
    if [ -z "$v_found" ] || [ -z "$v_known" ] || [ "${v_found# }" != "${v_found##* }" ]; then
        verb_menu_starts_wrong "with root=${v_found# }, where the new system is one of: $v_roots"
        return 1
    fi
    [ "${v_given# }" = "$v_flags" ] && return 0
    verb_menu_starts_wrong "with rootflags=${v_given# }, where the new system needs rootflags=$v_flags"
    return 1
}

verb_menu_starts_wrong() {
    printf 'the menu starts a kernel %s: %s\n' "$1" "$v_line" >&2
}
