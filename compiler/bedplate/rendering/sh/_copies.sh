# --- runtime: the second stick, on which the copies of the state before lie ----------------------------------------------

# find_copies: the copies that an earlier run has made, on whatever is plugged in. Sets COPIES, their folder, and leaves
# the stick open for reading. Those of this plan come first; where work has begun, those of another plan count too.
find_copies() {
    [ -n "$COPY_OF" ] && [ -z "$COPIES" ] || return 0
    verb_outside_places >"$WORK/places" 2>>"$LOG" || return 0
    for r_plan in plan any; do
        while IFS= read -r r_node; do
            open_copies "$r_node" ro || continue
            copies_here "$r_plan"
            [ -z "$COPIES" ] || return 0
            close_copies || return 1
        done <"$WORK/places"
        verb_ours_in_table || return 0
    done
}

# copies_here any|plan: the folder with the highest number, of those that fit.
copies_here() {
    r_number=0
    for r_folder in "$COPIES_POINT/bedplate-$MACHINE"-*/; do
        r_folder=${r_folder%/}
        case ${r_folder##*-} in
            *[!0-9]*) continue ;;
        esac
        if [ "${r_folder##*-}" -gt "$r_number" ] && verb_copies_fit "$r_folder" "$1" 2>>"$LOG"; then
            COPIES=$r_folder r_number=${r_folder##*-}
        fi
    done
}

# open_copies NODE ro|rw: where the file system on NODE is mounted, into COPIES_POINT; if it is not, it is mounted in $WORK,
# and a look replays no journal (ext4(5), xfs(5), btrfs(5)). COPIES_MINE says that it is ours to take down.
open_copies() {
    [ "$COPIES_MINE:$COPIES_NODE" != "yes:$1" ] || close_copies || return 1
    COPIES_NODE=$1
    COPIES_POINT=$(findmnt -nfo TARGET --source "$1")
    [ -z "$COPIES_POINT" ] || return 0
    case $2:$(blkid -p -o value -s TYPE -- "$1") in
        ro:ext[34]) r_way=ro,noload ;;
        ro:xfs) r_way=ro,norecovery ;;
        ro:btrfs) r_way=ro,rescue=nologreplay ;;
        *) r_way=$2 ;;
    esac
    mkdir -p -- "$WORK/stick" && mount -o "$r_way,nodev,nosuid,noexec" -- "$1" "$WORK/stick" 2>>"$LOG" || return 1
    COPIES_POINT=$WORK/stick COPIES_MINE=yes
}

close_copies() {
    [ -n "$COPIES_MINE" ] || return 0
    if ! { sync && umount -- "$WORK/stick" && rmdir -- "$WORK/stick"; } 2>>"$LOG"; then
        say "The second stick could not be unmounted: it is still at $WORK/stick. Unmount it before you pull it out."
        return 1
    fi
    COPIES_POINT='' COPIES_MINE=''
}

# choose_copies: where the copies go, settled before the machine's name is typed. One place is taken, among several the
# person chooses; without one, only the person's own words lead on.
choose_copies() {
    [ -n "$COPY_OF" ] || return 0
    say ''
    while [ -z "$COPIES$NO_COPIES" ]; do
        TABLE_READ=
        if verb_ours_in_table; then
            say 'The work on this disk has begun, and no stick with the copies of the state before is plugged in.'
            ask_for_stick || return 1
            find_copies || return 1
        else
            list_places || return 1
            case $r_count in
                0) ask_for_stick || return 1 ;;
                1) COPIES_NODE=$r_place ;;
                *) choose_place || return 1 ;;
            esac
            [ -z "$COPIES_NODE" ] || break
        fi
    done
    if [ -n "$NO_COPIES" ]; then
        say 'No copies of the state before are made: as the person at the machine has typed.'
    elif [ -n "$COPIES" ]; then
        say "Copies of the state before: made already, in ${COPIES##*/} on $COPIES_NODE."
    else
        say "Copies of the state before go to the second stick: $(place_words "$COPIES_NODE")"
    fi
}

# ask_for_stick: Enter looks once more; `without copies`, typed, goes on without any.
ask_for_stick() {
    say 'Before anything is changed, copies are made of the partition table, the boot entries and the EFI system partition.'
    say 'They need a second stick: a removable file system that can be written, with room, and is not the live medium.'
    answer 'Plug it in and press Enter; or type: without copies   (anything else to leave) ' || return 1
    case $ANSWER in
        '') COPIES_NODE='' ;;
        'without copies') NO_COPIES=yes ;;
        *) return 1 ;;
    esac
}

choose_place() {
    say 'The copies of the state before go to a second stick. These could be it:'
    r_place=0
    while IFS= read -r r_node; do
        r_place=$((r_place + 1))
        say "  $r_place: $(place_words "$r_node")"
    done <"$WORK/roomy"
    answer "Type the number at the beginning of a line (1 to $r_count), anything else to leave: " || return 1
    COPIES_NODE=''
    case $ANSWER in
        '' | *[!0-9]* | ???*) ;;
        *) COPIES_NODE=$(sed -n "${ANSWER}p" "$WORK/roomy") ;;
    esac
    [ -n "$COPIES_NODE" ] && return 0
    say 'That is none of them.'
    return 1
}

# place_words NODE: what lsblk(8) knows of it.
place_words() {
    lsblk -dno PATH,SIZE,FSTYPE,LABEL,MODEL -- "$1" | plainly
}

# list_places: the places with room for the copies into $WORK/roomy; their number into r_count, the last one into r_place.
list_places() {
    : >"$WORK/roomy"
    verb_outside_places >"$WORK/places" 2>>"$LOG" || : >"$WORK/places"
    r_need=16384 r_count=0 r_place='' COPIES_NODE=''
    for r_guid in $KEPT_ESPS; do
        if ! { verb_partition_node "$r_guid" && verb_esp_look "$v_node" df -Pk . >"$WORK/used"; } 2>"$WORK/found"; then
            say "The EFI system partition $r_guid cannot be read, so it cannot be copied:"
            found >&4
            return 1
        fi
        r_need=$((r_need + $(awk 'NR == 2 { print $3 }' "$WORK/used")))
    done
    while IFS= read -r r_node; do
        open_copies "$r_node" ro || continue
        r_free=$(df -Pk "$COPIES_POINT" | awk 'NR == 2 { print $4 }')
        r_way=$(findmnt -nfo OPTIONS --mountpoint "$COPIES_POINT")
        [ -n "$COPIES_MINE" ] && r_way=rw
        close_copies || return 1
        case ,$r_way, in
            *,ro,*) continue ;;
        esac
        [ "${r_free:-0}" -ge "$r_need" ] || continue
        printf '%s\n' "$r_node" >>"$WORK/roomy"
        r_count=$((r_count + 1)) r_place=$r_node
    done <"$WORK/places"
    COPIES_NODE=''
}
