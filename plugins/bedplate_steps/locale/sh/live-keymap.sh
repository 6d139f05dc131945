# live-keymap KEYMAP MODEL LAYOUT VARIANT: load the keymap on the console, by its name or made from the layout. A serial
# line or a graphical terminal has a keymap of its own: then that is said, and nothing is changed.
# uses: on-a-console
verb_live_keymap() {
    v_result=
    if ! verb_on_a_console; then
        v_result="not a console"
        say "    This terminal is no console: its keymap stays as it is. Type a test text before any password."
    elif loadkeys "$1" >/dev/null 2>&1; then
        v_result=loaded
    elif command -v ckbcomp >/dev/null 2>&1 && ckbcomp -model "$2" -layout "$3" -variant "$4" >"$WORK/keymap"; then
        loadkeys "$WORK/keymap" || return 1
        v_result=loaded
    else
        printf 'the keymap %s could not be loaded\n' "$1" >&2
        return 1
    fi
    printf '%s: %s\n' "$1" "$v_result" >"$WORK/live-keymap"
}
