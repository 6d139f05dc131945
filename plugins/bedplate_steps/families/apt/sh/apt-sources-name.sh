# apt-sources-name RELEASE: the target's source list has an entry for the release.
verb_apt_sources_name() {
    if ! grep -Fqw -e "$1" -- "$TARGET/etc/apt/sources.list"; then
        printf '%s has no entry for %s\n' "$TARGET/etc/apt/sources.list" "$1" >&2
        return 1
    fi
}
