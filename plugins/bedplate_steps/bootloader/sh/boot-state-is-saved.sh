# boot-state-is-saved: the copies of boot entries, and list and archive of foreign files, are complete in the target.
verb_boot_state_is_saved() {
    v_keep=$TARGET/var/lib/bedplate/boot
    [ -e "$v_keep/complete" ] && [ -f "$v_keep/esp.sha256" ] && return 0
    printf '%s is not complete\n' "$v_keep" >&2
    return 1
}
