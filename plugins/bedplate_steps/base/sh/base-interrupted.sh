# base-interrupted: the target holds a base of ours that was not finished: its mark says so, or it is whole and its
# action has no stamp yet, of this version or another. Stamps can be lost later: a target with any other stamp, or with
# the papers of a finished installation, is none.
verb_base_interrupted() {
    [ ! -e "$TARGET/.base-unfinished" ] || return 0
    [ -e "$TARGET/var/lib/bedplate/base-unpacked" ] || return 1
    for v_later in "$TARGET"/var/lib/bedplate/stamps/* "$TARGET/var/lib/bedplate/spec"; do
        [ ! -e "$v_later" ] && [ ! -L "$v_later" ] || return 1
    done
}
