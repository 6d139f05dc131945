# table-is-kept FILE OUR-TABLE PARTUUID...: without the partitions named, the table of $DISK is the one saved in FILE: every
# row that is not ours, in full, and the head. The node of a disk may have another name now, so names are left out.
# uses: table-before
verb_table_is_kept() {
    v_saved=$1
    shift
    if [ ! -s "$v_saved" ]; then
        printf '%s is missing: there is nothing to compare the partition table with\n' "$v_saved" >&2
        return 1
    fi
    verb_table_before "$@" || return 1
    for v_table in "$v_saved" "$WORK/before"; do
        sed -e '/^device: /d' -e 's/^[^ ]* *: start=/start=/' "$v_table" >"$WORK/kept-${v_table##*/}" || return 1
    done
    cmp -s "$WORK/kept-${v_saved##*/}" "$WORK/kept-before" && return 0
    while IFS= read -r v_line; do
        grep -Fqx -e "$v_line" "$WORK/kept-before" || printf 'no longer so in the table: %s\n' "$v_line" >&2
    done <"$WORK/kept-${v_saved##*/}"
    while IFS= read -r v_line; do
        grep -Fqx -e "$v_line" "$WORK/kept-${v_saved##*/}" || printf 'new in the table: %s\n' "$v_line" >&2
    done <"$WORK/kept-before"
    return 1
}
