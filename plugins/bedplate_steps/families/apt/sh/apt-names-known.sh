# apt-names-known PACKAGE...: the target's index has each name to the letter. One that it does not have, with a dot in it,
# apt-get(8) would take for a regular expression, and install whatever fits.
verb_apt_names_known() {
    in_target apt-cache -o APT::Cache::AllNames=true pkgnames >"$WORK/names" || return 1
    printf '%s\n' "$@" | grep -vFx -f "$WORK/names" >"$WORK/unknown"
    [ -s "$WORK/unknown" ] || return 0
    while IFS= read -r v_package; do
        printf 'the package source has no package %s\n' "$v_package" >&2
    done <"$WORK/unknown"
    return 1
}
