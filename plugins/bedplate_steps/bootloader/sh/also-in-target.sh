# also-in-target FILE BASE: the new system itself has that file outside of BASE, byte for byte, or one of its packages
# brought it (rpm(8), FILEDIGESTS: SHA-256 unless a distribution wants another).
verb_also_in_target() {
    v_bytes=$(stat -c %s -- "$1") || return 1
    for v_place in "$TARGET/boot" "$TARGET/lib/modules" "$TARGET/usr/lib/grub" "$TARGET/usr/lib/shim" \
        "$TARGET/usr/lib/systemd/boot"; do
        [ -d "$v_place" ] || continue
        v_same=$(find "$v_place" -type f -size "${v_bytes}c" ! -path "$2/*" -exec cmp -s -- "$1" {} \; -print)
        [ -z "$v_same" ] || return 0
    done
    [ -x "$TARGET/usr/bin/rpm" ] || return 1
    v_sum=$(sha256sum <"$1") || return 1
    in_target rpm -qa --qf '[%{FILEDIGESTS}\n]' >"$WORK/digests-there" || return 1
    grep -Fqx -e "${v_sum%% *}" "$WORK/digests-there"
}
