# esp-is-unchanged ESP all|loaders PATH...: every foreign file on the EFI system partition mounted at ESP is as it was
# when it was listed, and no file has come but below the PATHs, which are ours. loaders: only below \EFI.
verb_esp_is_unchanged() {
    v_list=$TARGET/var/lib/bedplate/boot/esp.sha256
    if [ ! -f "$v_list" ]; then
        printf 'the list %s is missing\n' "$v_list" >&2
        return 1
    fi
    case $v_list in
        /*) ;;
        *) v_list=$PWD/$v_list ;;
    esac
    if [ -s "$v_list" ] && ! (cd -- "$1" && sha256sum -c -- "$v_list") >"$WORK/compared" 2>&1; then
        grep -v ': OK$' "$WORK/compared" >&2
        return 1
    fi
    # Two blanks come before a name in the list of sha256sum(1); FAT has names that differ in case only once.
    sed 's/^[^ ]*  //' "$v_list" | tr '[:lower:]' '[:upper:]' >"$WORK/listed" || return 1
    v_esp=$1 v_from=.
    [ "$2" = all ] || v_from=./EFI
    shift 2
    [ -d "$v_esp/$v_from" ] || return 0
    for v_path in "$@"; do
        printf './%s\n' "$v_path"
    done | tr '[:lower:]' '[:upper:]' >"$WORK/ours" || return 1
    (cd -- "$v_esp" && find "$v_from" -type f) >"$WORK/there" || return 1
    tr '[:lower:]' '[:upper:]' <"$WORK/there" >"$WORK/new" || return 1
    if [ -s "$WORK/listed" ]; then
        # An empty list would match everything in some versions of grep.
        mv -f -- "$WORK/new" "$WORK/all" || return 1
        grep -Fvx -f "$WORK/listed" -- "$WORK/all" >"$WORK/new"
    fi
    v_strangers=
    while IFS= read -r v_upper; do
        v_own=
        while IFS= read -r v_path; do
            case $v_upper in
                "$v_path" | "$v_path"/*) v_own=yes ;;
            esac
        done <"$WORK/ours"
        [ -n "$v_own" ] && continue
        printf 'this file has come, and it is not ours: %s\n' "$(grep -Fix -e "$v_upper" -- "$WORK/there")" >&2
        v_strangers=yes
    done <"$WORK/new"
    [ -z "$v_strangers" ]
}
