# has-line PATH LINE: the file has exactly that line.
verb_has_line() {
    if [ ! -f "$1" ]; then
        printf '%s is not a plain file\n' "$1" >&2
        return 1
    fi
    if ! grep -Fqx -e "$2" -- "$1"; then
        printf '%s does not have the line: %s\n' "$1" "$2" >&2
        return 1
    fi
}
