# mounts-read: set v_mounts to the mounts of this moment (proc_pid_mounts(5)), and v_root to the target's folder without
# links, as they name it.
# shellcheck disable=SC2034 # read by the verbs that use this one
verb_mounts_read() {
    v_mounts=$(cat /proc/self/mounts) || return 1
    v_root=$(cd -P -- "$TARGET/" 2>/dev/null && pwd -P) || v_root=$TARGET
}
