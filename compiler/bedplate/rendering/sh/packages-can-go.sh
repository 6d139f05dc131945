# packages-can-go FAMILY COUNT PACKAGE... KEPT...: the first COUNT packages can be removed; none of the others, and none that
# somebody asked for by name, would go with them. Only the tool of apt tells beforehand; the others refuse to break what is
# asked for by name.
# uses: apt-leaving
verb_packages_can_go() {
    v_family=$1 v_count=$2
    shift 2
    [ "$v_family" = apt ] || return 0
    v_names=
    while [ "$v_count" -gt 0 ]; do
        v_names="$v_names $1"
        v_count=$((v_count - 1))
        shift
    done
    # shellcheck disable=SC2086 # names, one word each
    verb_apt_leaving $v_names || return 1
    in_target apt-mark showmanual >"$WORK/manual" || return 1
    printf '%s\n' "$@" >>"$WORK/manual" || return 1
    while IFS= read -r v_package; do
        case " $v_names " in *" $v_package "*) continue ;; esac
        if grep -qFx -e "$v_package" -- "$WORK/manual"; then
            printf 'the package %s would be removed as well\n' "$v_package" >&2
            return 1
        fi
    done <"$WORK/leaving"
}
