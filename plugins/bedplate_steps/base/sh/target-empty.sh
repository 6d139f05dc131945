# target-empty MOUNT...: the target is empty but for planned mount points, or holds an unfinished base of ours.
# uses: base-interrupted target-bare
verb_target_empty() {
    verb_base_interrupted && return 0
    verb_target_bare "$@"
}
