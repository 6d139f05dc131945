# files-as-listed LIST: below the current folder, every file of the list is as listed.
verb_files_as_listed() {
    [ -s "$1" ] || return 0
    sha256sum -c -- "$1" >"$WORK/compared" 2>&1 && return 0
    printf 'no longer as they were before the work:\n' >&2
    grep -v -e ': OK$' -e '^sha256sum: WARNING' "$WORK/compared" >&2
    return 1
}
