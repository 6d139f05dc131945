# foreign-list PARTUUID: set v_list to the list of all files that the kept EFI system partition held before our work: the one
# in the target, once it is complete there, else the one among the copies.
verb_foreign_list() {
    v_list=$TARGET/var/lib/bedplate/boot/esp.sha256
    [ ! -e "$TARGET/var/lib/bedplate/boot/complete" ] || [ ! -e "$v_list" ] || return 0
    v_list=${COPIES:-/}/esp-$1.sha256
    [ ! -e "$v_list" ] || return 0
    printf 'there is no list of the files that lay there before\n' >&2
    return 1
}
