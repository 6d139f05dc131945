# apt-can-go COUNT PACKAGE... KEPT...: the first COUNT packages can be removed; none of the others, and none that somebody
# asked for by name, would go with them.
# uses: apt-leaving
verb_apt_can_go() {
    v_count=$1 v_names=
    shift
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
