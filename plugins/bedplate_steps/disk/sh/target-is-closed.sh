# target-is-closed: nothing is mounted at the target or below it, in no name space: what another process still holds is not
# written out, and stays marked as in use.
verb_target_is_closed() {
    findmnt -rno TARGET >"$WORK/mounts" || return 1
    if grep -e "^$TARGET\$" -e "^$TARGET/" "$WORK/mounts" >&2; then
        printf 'still mounted\n' >&2
        return 1
    fi
    # The fifth field is the mount point (proc_pid_mountinfo(5)). A process may end while it is looked at.
    grep -l -e "^[^ ]* [^ ]* [^ ]* [^ ]* ${TARGET}[/ ]" /proc/[0-9]*/mountinfo >"$WORK/holders" 2>/dev/null
    [ -s "$WORK/holders" ] || return 0
    while IFS= read -r v_file; do
        v_process=${v_file%/mountinfo}
        printf 'still mounted in the name space of process %s (%s)\n' \
            "${v_process#/proc/}" "$(cat "$v_process/comm" 2>/dev/null)" >&2
    done <"$WORK/holders"
    return 1
}
