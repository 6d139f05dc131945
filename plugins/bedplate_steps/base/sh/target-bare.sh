# target-bare MOUNT...: nothing on the target's root file system but folders that lead to mount points, and stamps.
verb_target_bare() {
    find "$TARGET" -xdev ! -type d ! -path "$TARGET/.base-unfinished" ! -path "$TARGET/var/lib/bedplate/*" \
        >"$WORK/target-files" || return 1
    if [ -s "$WORK/target-files" ]; then
        printf 'the target is not empty; it has %s\n' "$(head -n 1 "$WORK/target-files")" >&2
        return 1
    fi
    find "$TARGET" -xdev -type d >"$WORK/target-folders" || return 1
    while IFS= read -r v_folder; do
        v_planned=
        for v_mount in "$TARGET/lost+found" "$TARGET/var/lib/bedplate" "$@"; do
            case $v_mount/ in "$v_folder"/*) v_planned=yes ;; esac
            case $v_folder/ in "$TARGET/var/lib/bedplate"/* | "$TARGET/lost+found"/*) v_planned=yes ;; esac
        done
        if [ -z "$v_planned" ]; then
            printf 'the target is not empty; it has the folder %s\n' "$v_folder" >&2
            return 1
        fi
    done <"$WORK/target-folders"
}
