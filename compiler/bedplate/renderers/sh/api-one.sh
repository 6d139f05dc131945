# api-one PATH MOUNT-WORD...: mount one API file system at PATH below the target, unless it is there already.
verb_api_one() {
    v_place=$1
    shift
    mountpoint -q "$TARGET/$v_place" 2>/dev/null && return 0
    # Folders below sys and dev belong to those file systems and are there, or cannot be made.
    case $v_place in
        proc | sys | dev | run) mkdir -p "$TARGET/$v_place" || return 1 ;;
        dev/*) [ -d "$TARGET/$v_place" ] || mkdir "$TARGET/$v_place" || return 1 ;;
    esac
    mount "$@" "$TARGET/$v_place" || return 1
    # Private: neither the medium's mounts nor these reach one another later.
    mount --make-private "$TARGET/$v_place" || return 1
}
