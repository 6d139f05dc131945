# copies-are-whole FOLDER: the copies in FOLDER were finished, and every file is what its digest says.
verb_copies_are_whole() {
    if [ ! -s "$1/SHA256SUMS" ]; then
        printf '%s has no list of digests: it was not finished\n' "$1" >&2
        return 1
    fi
    (cd -- "$1" && sha256sum -c SHA256SUMS) >"$WORK/compared" 2>&1 && return 0
    grep -v ': OK$' "$WORK/compared" >&2
    return 1
}
