# tree-modes: everybody may enter the root, etc, usr and var but only root may write; tmp is open to all; /root is closed.
verb_tree_modes() {
    for v_row in '/:755 555' '/etc:755' '/usr:755 555' '/var:755' '/tmp:1777' '/root:700 750 550'; do
        v_path=${v_row%%:*} v_allowed=${v_row#*:}
        v_found=$(stat -c '%a %u:%g' -- "$TARGET$v_path") || return 1
        case " $v_allowed " in
            *" ${v_found% *} "*) [ "${v_found#* }" = 0:0 ] && continue ;;
        esac
        printf '%s has mode and owner %s, not %s 0:0\n' "$v_path" "$v_found" "$v_allowed" >&2
        return 1
    done
}
