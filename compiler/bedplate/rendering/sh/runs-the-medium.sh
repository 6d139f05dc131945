# runs-the-medium NODE: NODE lies on the disk that the live system was started from: one that holds an image of CD form or
# a packed root, that is mounted at /, or that has something mounted read-only, as a live system mounts its own.
verb_runs_the_medium() {
    v_whole=$(lsblk -nrpso NAME,TYPE -- "$1" | sed -n 's/ disk$//p')
    [ -n "$v_whole" ] || return 0
    for v_one in $(lsblk -nrpo NAME "$v_whole"); do
        case $(blkid -p -o value -s TYPE -- "$v_one" 2>/dev/null) in
            iso9660 | udf | squashfs | erofs) return 0 ;;
        esac
        findmnt -rno TARGET,OPTIONS --source "$v_one" >"$WORK/mounts-of" || continue
        while read -r v_point v_options; do
            case $v_point:,$v_options, in
                /:* | *:*,ro,*) return 0 ;;
            esac
        done <"$WORK/mounts-of"
    done
    return 1
}
