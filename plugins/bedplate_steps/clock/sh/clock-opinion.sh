# clock-opinion URL: what the package source thinks of the clock: set v_source, and v_off to the seconds the clock is
# ahead of it; v_off is empty where nobody answers. It is asked once: from then on the machine's uptime counts.
# uses: clock-date clock-source
verb_clock_opinion() {
    v_off=
    v_source=$(verb_clock_source "$1")
    [ -n "$v_source" ] || return 0
    IFS='. ' read -r v_up _ </proc/uptime
    v_asked=
    [ ! -f "$WORK/clock-opinion" ] || read -r v_asked v_date v_since <"$WORK/clock-opinion"
    if [ "$v_asked" != "$v_source" ]; then
        v_date=$(verb_clock_date "$v_source") || return 0
        IFS='. ' read -r v_up _ </proc/uptime
        v_since=$v_up
        printf '%s %s %s\n' "$v_source" "$v_date" "$v_since" >"$WORK/clock-opinion"
    fi
    v_off=$(($(date +%s) - v_date - v_up + v_since))
}
