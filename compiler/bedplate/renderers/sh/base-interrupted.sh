# base-interrupted: the target holds a base of ours that was not finished: its mark says so, or it is whole and its
# action has no stamp yet, of this version or another.
verb_base_interrupted() {
    [ ! -e "$TARGET/.base-unfinished" ] || return 0
    [ -e "$TARGET/var/lib/bedplate/base-unpacked" ] && [ ! -e "$TARGET/var/lib/bedplate/stamps/base.unpack" ]
}
