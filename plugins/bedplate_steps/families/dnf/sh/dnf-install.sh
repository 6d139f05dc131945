# dnf-install RELEASE WEAK PACKAGE...: one transaction into the target. WEAK is yes or no (weak dependencies). Repositories
# come on standard input (empty: the medium's). The target is marked as unfinished while packages are unpacked: scripts of
# a half-done transaction may not have run, and nothing tells. Names and fetching come before that.
# uses: base-done base-mark dnf-words
verb_dnf_install() {
    verb_dnf_words "$1" || return 1
    v_weak=True
    [ "$2" = yes ] || v_weak=False
    shift 2
    while IFS= read -r v_word; do
        set -- "$v_word" "$@"
    done <"$WORK/dnf-words"
    set -- --installroot="$TARGET" --setopt="install_weak_deps=$v_weak" --setopt=keepcache=1 -y install "$@"
    dnf --downloadonly "$@" </dev/null || return 1
    verb_base_mark || return 1
    dnf "$@" </dev/null || return 1
    # The medium's kernel may not label files: then the first boot of a labelling system must.
    [ ! -e "$TARGET/etc/selinux/config" ] || : >"$TARGET/.autorelabel" || return 1
    verb_base_done || return 1
    dnf --installroot="$TARGET" -q clean packages </dev/null
}
