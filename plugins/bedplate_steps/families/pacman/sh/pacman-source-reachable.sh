# pacman-source-reachable TRUST: for every repository of the configuration (standard input; empty: the medium's) at least
# one server has the list of packages.
# uses: pacman-config url-answers
verb_pacman_source_reachable() {
    v_config=$(verb_pacman_config) || return 1
    pacman-conf --config "$v_config" --repo-list >"$WORK/repositories" || return 1
    if [ ! -s "$WORK/repositories" ]; then
        printf '%s names no repository\n' "$v_config" >&2
        return 1
    fi
    while IFS= read -r v_repository <&5; do
        pacman-conf --config "$v_config" --repo "$v_repository" Server >"$WORK/servers" || return 1
        v_answered=
        while IFS= read -r v_server <&6; do
            if verb_url_answers "$1" "${v_server%/}/$v_repository.db" 2>/dev/null; then
                v_answered=yes
                break
            fi
        done 6<"$WORK/servers"
        if [ -z "$v_answered" ]; then
            printf 'no server of the repository %s answers; the first is %s\n' "$v_repository" \
                "$(head -n 1 "$WORK/servers")" >&2
            return 1
        fi
    done 5<"$WORK/repositories"
}
