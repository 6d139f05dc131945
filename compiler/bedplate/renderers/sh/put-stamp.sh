# put-stamp ID DIGEST: everything the action wrote goes to the disk first, then the stamp, then the stamp to the disk.
# uses: write-file
verb_put_stamp() {
    sync || return 1
    printf '%s\n' "$2" >"$WORK/stamp" || return 1
    verb_write_file "$TARGET/var/lib/bedplate/stamps/$1" 644 0:0 <"$WORK/stamp" || return 1
    sync || return 1
}
