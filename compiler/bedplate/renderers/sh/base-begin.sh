# base-begin MOUNT...: an empty target, marked as unfinished. What an interrupted run left is removed first; MOUNT are
# the planned mount points below the target.
# uses: api-unmount base-empty base-mark
verb_base_begin() {
    if [ -e "$TARGET/.base-unfinished" ]; then
        verb_api_unmount || return 1
        verb_base_empty "$@" || return 1
    fi
    verb_base_mark
}
