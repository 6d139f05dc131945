# put-stamp ID DIGEST: everything the action wrote goes to the disk first, then the stamp, then the stamp to the disk. One that
# a power cut left half-written is none (stamp-is).
# uses: own-folder
verb_put_stamp() {
    v_stamp=$TARGET/var/lib/bedplate/stamps/$1
    sync || return 1
    verb_own_folder "$v_stamp" || return 1
    # Not through a link that lies in its place.
    [ ! -L "$v_stamp" ] || rm -f -- "$v_stamp" || return 1
    printf '%s\n' "$2" >"$v_stamp" || return 1
    sync || return 1
}
