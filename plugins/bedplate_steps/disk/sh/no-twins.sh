# no-twins TABLE (on standard input what the plan brings, a line each: `part GUID`, `uuid UUID`, `label LABEL`):
# no two places on the disks of this machine have one identity, and nothing the plan brings is in use elsewhere. With
# TABLE new, what is on $DISK now does not count against the labels: it goes. Where
# $DISK is a loop device, a rehearsal, the disks of the machine around it do not count; other loop devices never do.
# uses: device-marks
verb_no_twins() {
    cat >"$WORK/ours" && lsblk -nrpo NAME,TYPE,PKNAME >"$WORK/nodes" || return 1
    grep -q "^$DISK " "$WORK/nodes" || {
        printf 'lsblk does not list %s\n' "$DISK" >&2
        return 1
    }
    : >"$WORK/marks"
    v_disks=' ' v_members=' ' v_real=disk
    ! grep -q "^$DISK loop" "$WORK/nodes" || v_real=loop
    v_told=$(while read -r v_node v_type v_parent; do
        case $v_type:$v_node in
            "$v_real:$DISK" | disk:* | part:*) printf '%s\n' "$v_node" ;;
        esac
    done <"$WORK/nodes")
    # shellcheck disable=SC2086 # one word a node
    v_told=$NEW_LINE$(blkid -p -o export -- $v_told 2>/dev/null)$NEW_LINE
    while read -r v_node v_type v_parent; do
        case $v_type:$v_node in
            loop:"$DISK") v_disks="$v_disks$v_node " v_parent=- ;;
            disk:*)
                [ "$v_real" = disk ] || continue
                v_disks="$v_disks$v_node " v_parent=-
                ;;
            part:*) ;;
            *) continue ;;
        esac
        case "$v_disks- :$v_members" in
            *" $v_parent "*:*" $v_parent "*) continue ;;
            *" $v_parent "*) ;;
            *) continue ;;
        esac
        verb_device_marks "$v_node" "$v_parent" || return 1
        [ -z "$v_mirror" ] || v_members="$v_members$v_node "
    done <"$WORK/nodes"
    verb_no_twins_ours "$1" && verb_no_twins_pairs
}

# A line of marks: KIND, IDENTITY, OWNER, NODE, PARENT, with tabs between.
verb_no_twins_pairs() {
    sort -u "$WORK/marks" >"$WORK/marks-sorted" || return 1
    v_key='' v_found=''
    while IFS='	' read -r v_kind v_id v_owner v_node v_parent; do
        case $v_kind:$v_id in
            label:* | *:00000000-0000-0000-0000-000000000000 | *:00000000) continue ;;
        esac
        # An image written to a disk is seen twice: as the disk and as its first partition.
        if [ "$v_kind $v_id" = "$v_key" ] && [ "$v_owner" != "$v_other" ] && [ "$v_parent" != "$v_at" ]; then
            verb_no_twins_told "$v_kind $v_id is there more than once" "$v_at" "$v_node"
        fi
        v_key="$v_kind $v_id" v_other=$v_owner v_at=$v_node
    done <"$WORK/marks-sorted"
    [ -z "$v_found" ]
}

verb_no_twins_ours() {
    v_found='' v_own='' v_ours=$(cat "$WORK/ours") || return 1
    while IFS='	' read -r v_kind v_id v_owner v_node v_parent; do
        case $v_kind in
            disk | part | uuid | label) ;;
            *) continue ;;
        esac
        case $NEW_LINE$v_ours$NEW_LINE in
            *"$NEW_LINE$v_kind $v_id$NEW_LINE"*) ;;
            *) continue ;;
        esac
        # The marks of a node begin with its row, so that all of a row of ours are ours.
        [ "$v_kind" != part ] || [ "$v_parent" != "$DISK" ] || v_own=$v_node
        [ "$v_node" != "$v_own" ] || continue
        case $1:$v_kind:$v_node:$v_parent in
            new:label:"$DISK":* | new:label:*:"$DISK" | *:disk:"$DISK":*) continue ;;
        esac
        verb_no_twins_told "$v_kind $v_id is to be ours, and is in use" "$v_node"
    done <"$WORK/marks"
    [ -z "$v_found" ]
}

verb_no_twins_told() {
    v_found=yes
    printf '%s:\n' "$1" >&2
    shift
    for v_place in "$@"; do
        printf '    %s: %s\n' "$v_place" "$(lsblk -no SIZE,FSTYPE,LABEL,MODEL,SERIAL -- "$v_place" | head -n 1)" >&2
    done
}
