# tool-present NAME: the command exists on the live medium.
verb_tool_present() {
    command -v -- "$1" >/dev/null 2>&1 && return 0
    printf 'there is no command %s\n' "$1" >&2
    return 1
}
