# base-begin MOUNT...: an empty target, marked as unfinished. What an interrupted run left is removed first; MOUNT are
# the planned mount points below the target.
# uses: api-unmount base-empty base-interrupted base-mark
verb_base_begin() {
    if verb_base_interrupted; then
        verb_base_mark || return 1
        verb_api_unmount || return 1
        verb_base_empty "$@" || return 1
    fi
    verb_base_mark
}
