# dnf-words RELEASE: writes into "$WORK/dnf-words", one a line, the options that choose release and repositories: those
# on standard input, or if that is empty the medium's own.
verb_dnf_words() {
    mkdir -p "$WORK/repositories.d" || return 1
    cat >"$WORK/repositories.d/base.repo" || return 1
    printf '%s\n' "--releasever=$1" >"$WORK/dnf-words" || return 1
    if [ -s "$WORK/repositories.d/base.repo" ]; then
        printf '%s\n' "--setopt=reposdir=$WORK/repositories.d" >>"$WORK/dnf-words" || return 1
    fi
    # The fifth generation looks for repositories in the new root alone, unless told otherwise (from memory).
    case $(dnf --version 2>/dev/null) in
        *dnf5*) printf '%s\n' --use-host-config >>"$WORK/dnf-words" || return 1 ;;
    esac
}
