# device-marks NODE PARENT: add to $WORK/marks what NODE can be told by, and set v_mirror where it is a member of an array
# that shows the table of the whole array. What blkid cannot tell is doubt; only "nothing there" without a word is not.
# v_told: what blkid told of many at once. What it left out is asked for alone, since only then the exit status says why.
verb_device_marks() {
    v_mirror='' v_status=0
    v_one=${v_told#*"${NEW_LINE}DEVNAME=$1$NEW_LINE"}
    if [ "$v_one" = "$v_told" ]; then
        v_one=$(blkid -p -o export -- "$1" 2>"$WORK/blkid-words")
        v_status=$?
    fi
    v_one=${v_one%%"$NEW_LINE${NEW_LINE}DEVNAME="*}$NEW_LINE
    case $v_status in
        0) ;;
        2) [ -s "$WORK/blkid-words" ] || return 0 ;;
        8)
            # Several things lie there. Each tells of itself, but no member of its array.
            wipefs --no-act --parsable -- "$1" >"$WORK/told-all" || return 1
            verb_device_marks_several "$1" "$2"
            return
            ;;
    esac
    if [ "$v_status" -ne 0 ]; then
        printf 'blkid could not tell what %s is (exit status %s)\n' "$1" "$v_status" >&2
        cat "$WORK/blkid-words" >&2
        return 1
    fi
    verb_device_told
    case $v_type in
        *_raid_member | mpath_member | drbd) v_mirror=yes ;;
    esac
    if [ -z "$v_mirror" ]; then
        [ "$v_scheme" != gpt ] || verb_device_mark part "$v_entry" "$1" "$1" "$2"
        verb_device_mark disk "$v_table" "$1" "$1" "$2"
    fi
    verb_device_mark label "$v_label" "$1" "$1" "$2"
    case $v_type:$v_sub in
        linux_raid_member:?* | zfs_member:?*)
            verb_device_mark array "$v_label" "$v_uuid" "$1" "$2"
            verb_device_mark member "$v_sub" "$1" "$1" "$2"
            ;;
        btrfs:?*) verb_device_mark member "$v_sub" "$1" "$1" "$2" ;;
        LVM2_member:*)
            verb_device_mark uuid "$v_uuid" "$1" "$1" "$2"
            verb_device_group "$1" || return 1
            verb_device_mark volume-group "$v_group" "$v_group_id" "$1" "$2"
            ;;
        *_member:* | drbd*:* | bcache:* | stratis:* | mpool:* | vdo:* | ubi:* | DM_*:* | ceph_bluestore:*) ;;
        *) verb_device_mark uuid "$v_uuid" "$1" "$1" "$2" ;;
    esac
}

# verb_device_told: set what v_one tells, a label without its quoting.
verb_device_told() {
    v_type='' v_uuid='' v_label='' v_sub='' v_table='' v_scheme='' v_entry=''
    while [ -n "$v_one" ]; do
        v_line=${v_one%%"$NEW_LINE"*}
        v_one=${v_one#*"$NEW_LINE"}
        case $v_line in
            TYPE=*) v_type=${v_line#*=} ;;
            UUID=*) v_uuid=${v_line#*=} ;;
            LABEL=*\\*) v_label=$(printf '%s\n' "${v_line#*=}" | sed 's/\\\(.\)/\1/g') ;;
            LABEL=*) v_label=${v_line#*=} ;;
            UUID_SUB=*) v_sub=${v_line#*=} ;;
            PTUUID=*) v_table=${v_line#*=} ;;
            PART_ENTRY_SCHEME=*) v_scheme=${v_line#*=} ;;
            PART_ENTRY_UUID=*) v_entry=${v_line#*=} ;;
        esac
    done
}

# verb_device_mark KIND IDENTITY OWNER NODE PARENT: one line of marks, in lower case where it is no name.
verb_device_mark() {
    [ -n "$2" ] || return 0
    v_mark=$2
    case $1 in
        disk | part | uuid | member)
            while :; do
                case $v_mark in
                    *A*) v_mark=${v_mark%%A*}a${v_mark#*A} ;;
                    *B*) v_mark=${v_mark%%B*}b${v_mark#*B} ;;
                    *C*) v_mark=${v_mark%%C*}c${v_mark#*C} ;;
                    *D*) v_mark=${v_mark%%D*}d${v_mark#*D} ;;
                    *E*) v_mark=${v_mark%%E*}e${v_mark#*E} ;;
                    *F*) v_mark=${v_mark%%F*}f${v_mark#*F} ;;
                    *) break ;;
                esac
            done
            ;;
    esac
    printf '%s\t%s\t%s\t%s\t%s\n' "$1" "$v_mark" "$3" "$4" "$5" >>"$WORK/marks"
}

verb_device_marks_several() {
    while IFS=, read -r v_at v_uuid v_label v_type; do
        case $v_at:$v_type in
            '#'* | *:gpt | *:PMBR | *:dos) continue ;;
            *_member) v_mirror=yes ;;
            *) verb_device_mark uuid "$v_uuid" "$1" "$1" "$2" ;;
        esac
    done <"$WORK/told-all"
}

# verb_device_group NODE: set v_group and v_group_id from the newest description of the volume group in the first MiB of
# a physical volume: NAME {, id = "...", seqno = N, a line each (text format of lvm(8)).
verb_device_group() {
    dd if="$1" bs=65536 count=16 2>/dev/null | tr -s '\000' '\n' | sed -n '/^[A-Za-z0-9+_.-]* {$/{
        N
        N
        s/^\([^ ]*\) {\nid = "\([^"]*\)"\nseqno = \([0-9]*\)$/\3 \1 \2/p
        }' | sort -n >"$WORK/groups" || return 1
    read -r v_group v_group_id <<END_OF_GROUP || return 1
$(tail -n 1 "$WORK/groups" | cut -d ' ' -f 2,3)
END_OF_GROUP
}
