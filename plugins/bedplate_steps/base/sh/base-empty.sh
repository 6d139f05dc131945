# base-empty MOUNT...: remove what an interrupted run left on the target's root file system, and on that alone.
# Refused while anything but the planned mounts (MOUNT) is mounted below the target; nothing below those is touched.
# uses: mounts-below target-bare
verb_base_empty() {
    if [ -z "$TARGET" ] || [ ! -e "$TARGET/.base-unfinished" ]; then
        printf 'this is no unfinished target; nothing is removed\n' >&2
        return 1
    fi
    verb_mounts_below >"$WORK/mounts-below" || return 1
    while IFS= read -r v_point; do
        v_planned=
        for v_mount in "$@"; do
            [ "$v_mount" = "$v_point" ] && v_planned=yes
        done
        if [ -z "$v_planned" ]; then
            printf '%s is still mounted; nothing is removed\n' "$v_point" >&2
            return 1
        fi
    done <"$WORK/mounts-below"
    # What was stamped lay in this base and goes with it.
    rm -f -- "$TARGET"/var/lib/bedplate/stamps/* "$TARGET/var/lib/bedplate/base-unpacked" || return 1
    # -xdev keeps to one file system. What was saved of the machine before stays; the mark goes last, by base-done.
    find "$TARGET" -xdev ! -type d ! -path "$TARGET/.base-unfinished" ! -path "$TARGET/var/lib/bedplate/*" \
        -exec rm -f -- {} + || return 1
    # Mount points and the folders above them cannot go, and need not: what must be gone is looked at afterwards.
    find "$TARGET" -xdev -depth -type d ! -path "$TARGET/lost+found" -exec rmdir -- {} + 2>/dev/null
    verb_target_bare "$@"
}
