# dnf-offers RELEASE PACKAGE...: the enabled repositories (standard input; empty: the medium's) have every name, or
# something that provides it; by the lists that were fetched before.
# uses: dnf-words nearest-name
verb_dnf_offers() {
    verb_dnf_words "$1" || return 1
    shift
    printf '%s\n' "$@" >"$WORK/wanted"
    set -- dnf -q
    while IFS= read -r v_word; do
        [ "$v_word" = --use-host-config ] || set -- "$@" "$v_word"
    done <"$WORK/dnf-words"
    "$@" repoquery --qf '%{name}\n' </dev/null >"$WORK/offered" || return 1
    grep -vFx -f "$WORK/offered" "$WORK/wanted" >"$WORK/not-offered" || return 0
    v_wrong=
    while IFS= read -r v_name; do
        [ -z "$("$@" repoquery --whatprovides "$v_name" </dev/null)" ] || continue
        v_near=$(verb_nearest_name "$v_name" <"$WORK/offered")
        printf 'the package source has no package %s%s\n' "$v_name" "${v_near:+; nearest: $v_near}" >&2
        v_wrong=yes
    done <"$WORK/not-offered"
    [ -z "$v_wrong" ]
}
