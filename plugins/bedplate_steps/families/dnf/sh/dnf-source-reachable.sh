# dnf-source-reachable TRUST RELEASE: the lists of packages of all enabled repositories (standard input; empty: the
# medium's) can be fetched.
# uses: dnf-words
verb_dnf_source_reachable() {
    verb_dnf_words "$2" || return 1
    set -- "$1"
    while IFS= read -r v_word; do
        # Only for a new root; here nothing is installed.
        [ "$v_word" = --use-host-config ] || set -- "$@" "$v_word"
    done <"$WORK/dnf-words"
    [ "$1" = trusted ] || set -- "$@" --setopt=sslverify=0
    shift
    dnf -q -y "$@" makecache --refresh </dev/null || return 1
}
