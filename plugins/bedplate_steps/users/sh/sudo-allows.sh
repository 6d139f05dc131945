# sudo-allows NAME: the target's rules as a whole are good, and sudo lets NAME run every command.
verb_sudo_allows() {
    if ! in_target visudo -c >"$WORK/rules" 2>&1; then
        cat "$WORK/rules" >&2
        return 1
    fi
    in_target sudo -n -l -U "$1" >"$WORK/rules" 2>/dev/null || return 1
    grep -q '^[[:blank:]]*(ALL : ALL) ALL$' "$WORK/rules" && return 0
    printf 'sudo does not let %s run every command\n' "$1" >&2
    return 1
}
