# apt-source-list RELEASE: writes the source list into "$WORK/apt-sources.list": the one on standard input, or if that is
# empty what the live medium itself is configured to use.
# uses: apt-medium-sources
verb_apt_source_list() {
    cat >"$WORK/apt-sources.list" || return 1
    [ ! -s "$WORK/apt-sources.list" ] || return 0
    verb_apt_medium_sources "$1" /etc/apt >"$WORK/apt-sources.list" || return 1
    if [ ! -s "$WORK/apt-sources.list" ]; then
        printf 'the medium is configured with no network source for %s; name one in the spec\n' "$1" >&2
        return 1
    fi
}
