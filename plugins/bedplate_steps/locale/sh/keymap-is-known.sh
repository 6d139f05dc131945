# keymap-is-known KEYMAP MODEL LAYOUT VARIANT: the medium has the console keymap, or can make it from the layout. On a
# terminal that is no console it is not loaded, and nothing stops for it.
# uses: on-a-console
verb_keymap_is_known() {
    if ! verb_on_a_console; then
        printf 'this terminal is no console: it has a keymap of its own\n'
        return 0
    fi
    if ! command -v loadkeys >/dev/null 2>&1; then
        printf 'the medium has no loadkeys: passwords would be typed on another keyboard than later\n' >&2
        return 1
    fi
    v_folders=
    for v_folder in /usr/share/keymaps /usr/share/kbd/keymaps /usr/lib/kbd/keymaps /lib/kbd/keymaps; do
        [ -d "$v_folder" ] && v_folders="$v_folders $v_folder"
    done
    # shellcheck disable=SC2086 # folder names from the list above
    if [ -n "$v_folders" ]; then
        find $v_folders -name "$1.map*" -o -name "$1.kmap*" >"$WORK/keymaps" 2>/dev/null
        [ ! -s "$WORK/keymaps" ] || return 0
    fi
    if command -v ckbcomp >/dev/null 2>&1; then
        ckbcomp -model "$2" -layout "$3" -variant "$4" >"$WORK/keymap" 2>/dev/null && return 0
    elif [ -z "$v_folders" ]; then
        printf 'the medium has no console keymaps at all, and no ckbcomp to make one\n' >&2
        return 1
    fi
    printf 'the medium has no console keymap %s\n' "$1" >&2
    return 1
}
