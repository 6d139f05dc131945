# group-take-back NAME: the group goes, where group-present has made it; one that was there before is left.
# uses: leave
verb_group_take_back() {
    v_made=$TARGET/var/lib/bedplate/made-group-$1
    grep -q "^$1:" "$TARGET/etc/group" || return 0
    if [ ! -e "$v_made" ]; then
        verb_leave "the group $1: it was there before"
        return
    fi
    in_target groupdel "$1" && rm -f -- "$v_made"
}
