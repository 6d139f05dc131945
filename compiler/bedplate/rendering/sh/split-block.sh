# split-block PATH MARKER SIGN: what the file holds outside the block of that marker, to "$WORK/outside", and inside it, to
# "$WORK/inside". A block stands between the lines `SIGN begin MARKER` and `SIGN end MARKER`.
verb_split_block() {
    : >"$WORK/outside" && : >"$WORK/inside" || return 1
    [ -e "$1" ] || return 0
    v_from=0 v_to=0
    grep -nFx -e "$3 begin $2" -- "$1" >"$WORK/from" && IFS=: read -r v_from v_rest <"$WORK/from"
    grep -nFx -e "$3 end $2" -- "$1" >"$WORK/to" && IFS=: read -r v_to v_rest <"$WORK/to"
    if [ "$v_from$v_to" = 00 ]; then
        cat <"$1" >"$WORK/outside" || return 1
        return 0
    fi
    if [ "$v_from" = 0 ] || [ "$v_to" -le "$v_from" ]; then
        printf '%s has one of the two lines around the block %s, and not the other\n' "$1" "$2" >&2
        return 1
    fi
    sed "${v_from},${v_to}d" <"$1" >"$WORK/outside" || return 1
    [ "$((v_to - v_from))" = 1 ] || sed -n "$((v_from + 1)),$((v_to - 1))p" <"$1" >"$WORK/inside" || return 1
}
