# api-one PATH MOUNT-WORD...: mount one API file system at PATH below the target, unless it is there already, as v_mounts
# and v_root tell (set by mounts-read). Private: neither the medium's mounts nor these reach one another later.
verb_api_one() {
    v_place=$1
    shift
    case $v_mounts in
        *" $v_root/$v_place "*) return 0 ;;
    esac
    # Folders below sys and dev belong to those file systems and are there, or cannot be made.
    case $v_place in
        proc | sys | dev | run) [ -d "$TARGET/$v_place" ] || mkdir -p "$TARGET/$v_place" || return 1 ;;
        dev/*) [ -d "$TARGET/$v_place" ] || mkdir "$TARGET/$v_place" || return 1 ;;
    esac
    mount --make-private "$@" "$TARGET/$v_place" || return 1
}
