# packages-can-go FAMILY COUNT PACKAGE... KEPT...: the first COUNT packages can be removed, and none of the others would
# go with them. Only the tool of apt tells beforehand; the others refuse to break what is asked for by name.
verb_packages_can_go() {
    v_family=$1 v_count=$2
    shift 2
    [ "$v_family" = apt ] || return 0
    : >"$WORK/leaving"
    while [ "$v_count" -gt 0 ]; do
        printf '%s\n' "$1" >>"$WORK/leaving"
        v_count=$((v_count - 1))
        shift
    done
    v_names=$(tr '\n' ' ' <"$WORK/leaving")
    # shellcheck disable=SC2086 # names, one word each
    in_target apt-get -q -s --auto-remove remove -- $v_names >"$WORK/simulated" || return 1
    for v_package in "$@"; do
        if grep -q "^Remv $v_package " "$WORK/simulated"; then
            printf 'the package %s would be removed as well\n' "$v_package" >&2
            return 1
        fi
    done
}
