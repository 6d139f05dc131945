# target-empty MOUNT...: the target is empty but for planned mount points, or marked as an unfinished base of ours.
# uses: target-bare
verb_target_empty() {
    [ -e "$TARGET/.base-unfinished" ] && return 0
    verb_target_bare "$@"
}
