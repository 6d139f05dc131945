# own-folder PATH: make the folders above PATH (0755) and set v_folder. A path of the target must stay in the target:
# a link such as /var/run -> /run would otherwise lead into the running system.
verb_own_folder() {
    v_folder=${1%/*}
    [ -n "$v_folder" ] || v_folder=/
    case $1 in
        "$TARGET"/*) ;;
        *)
            mkdir -p -- "$v_folder" || return 1
            return 0
            ;;
    esac
    v_real=$(readlink -m -- "$v_folder") || return 1
    v_root=$(readlink -m -- "$TARGET/") || return 1
    case $v_real/ in
        "${v_root%/}"/*) ;;
        *)
            printf '%s leads out of the target, to %s\n' "$v_folder" "$v_real" >&2
            return 1
            ;;
    esac
    mkdir -p -- "$v_folder" || return 1
}
