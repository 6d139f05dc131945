# apt-offers PACKAGE...: the index that apt-index has verified in this run has every name, or what provides it.
# uses: nearest-name
verb_apt_offers() {
    if [ ! -s "$WORK/index" ]; then
        printf 'no name could be looked up, since there is no verified index\n' >&2
        return 1
    fi
    printf '%s\n' "$@" >"$WORK/wanted"
    grep -Fx -f "$WORK/wanted" "$WORK/index" >"$WORK/offered"
    grep -vFx -f "$WORK/offered" "$WORK/wanted" >"$WORK/not-offered" || return 0
    # Debian Policy 4.6, 7.1: names with commas between, a version in brackets perhaps.
    sed -n 's/^Provides: //p' "$WORK/index" | tr ',' '\n' | sed 's/^ *//; s/[ (:].*//' >"$WORK/provided"
    grep -vFx -f "$WORK/provided" "$WORK/not-offered" >"$WORK/wanted" || return 0
    while read -r v_name; do
        v_near=$(verb_nearest_name "$v_name" <"$WORK/index")
        printf 'the package source has no package %s%s\n' "$v_name" "${v_near:+; nearest: $v_near}" >&2
    done <"$WORK/wanted"
    return 1
}
