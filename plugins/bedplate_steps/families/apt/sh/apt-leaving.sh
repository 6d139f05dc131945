# apt-leaving PACKAGE...: write into $WORK/leaving what goes with these packages, one name a line: themselves, what stands on
# them, and what only they had brought along; not what nobody needs anyway (apt-get(8): autoremove, --simulate).
verb_apt_leaving() {
    in_target apt-get -q -s autoremove >"$WORK/simulated" || return 1
    sed -n 's/^Remv \([^ ]*\) .*/\1/p; s/^Purg \([^ ]*\) .*/\1/p' "$WORK/simulated" >"$WORK/orphans" || return 1
    in_target apt-get -q -s --auto-remove remove -- "$@" >"$WORK/simulated" || return 1
    sed -n 's/^Remv \([^ ]*\) .*/\1/p; s/^Purg \([^ ]*\) .*/\1/p' "$WORK/simulated" >"$WORK/all-leaving" || return 1
    : >"$WORK/leaving"
    while IFS= read -r v_package; do
        case " $* " in
            *" $v_package "*) ;;
            *) ! grep -qFx -e "$v_package" -- "$WORK/orphans" || continue ;;
        esac
        printf '%s\n' "$v_package" >>"$WORK/leaving"
    done <"$WORK/all-leaving"
}
