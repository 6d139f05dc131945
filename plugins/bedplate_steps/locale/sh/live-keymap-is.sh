# live-keymap-is KEYMAP: this run has loaded the keymap, or found that there is no console to load it on. The kernel does
# not keep the name of a keymap, so the note of this run is all there is.
verb_live_keymap_is() {
    v_note=
    [ ! -f "$WORK/live-keymap" ] || IFS= read -r v_note <"$WORK/live-keymap"
    case $v_note in
        "$1: "*)
            printf '%s\n' "$v_note"
            return 0
            ;;
    esac
    printf 'this run has not loaded the keymap %s yet\n' "$1" >&2
    return 1
}
