# own-folder PATH: make the folders above PATH (0755) and set v_folder. A path of the target must stay in the target:
# a link such as /var/run -> /run would otherwise lead into the running system.
verb_own_folder() {
    v_folder=${1%/*}
    [ -n "$v_folder" ] || v_folder=/
    case $1 in
        "$TARGET"/*) ;;
        *)
            [ -d "$v_folder" ] || mkdir -p -- "$v_folder"
            return
            ;;
    esac
    verb_own_folder_is_straight || verb_own_folder_stays || return 1
    [ -d "$v_folder" ] || mkdir -p -- "$v_folder" || return 1
}

# Without a link or a step up on the way from the target's root, it cannot lead out.
verb_own_folder_is_straight() {
    case $v_folder/ in
        */../*) return 1 ;;
    esac
    v_way=$TARGET v_rest=${v_folder#"$TARGET"}
    while [ -n "$v_rest" ]; do
        v_rest=${v_rest#/}
        v_way=$v_way/${v_rest%%/*}
        [ ! -L "$v_way" ] || return 1
        case $v_rest in
            */*) v_rest=/${v_rest#*/} ;;
            *) v_rest= ;;
        esac
    done
}

verb_own_folder_stays() {
    v_real=$(readlink -m -- "$v_folder") || return 1
    v_root=$(readlink -m -- "$TARGET/") || return 1
    case $v_real/ in
        "${v_root%/}"/*) return 0 ;;
    esac
    printf '%s leads out of the target, to %s\n' "$v_folder" "$v_real" >&2
    return 1
}
