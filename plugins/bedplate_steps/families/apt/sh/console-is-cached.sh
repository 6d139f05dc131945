# console-is-cached: what setupcon prepares for the start of the target is newer than the keyboard's settings.
verb_console_is_cached() {
    for v_file in "$TARGET"/etc/console-setup/cached_*.kmap.gz; do
        [ -s "$v_file" ] || continue
        [ -z "$(find "$TARGET/etc/default/keyboard" -newer "$v_file")" ] && return 0
    done
    printf 'there is no prepared keymap in %s that is as new as the settings\n' "$TARGET/etc/console-setup" >&2
    return 1
}
