# running-name NAME: the running system calls itself NAME from now on (proc(5), /proc/sys/kernel/hostname).
verb_running_name() {
    printf '%s\n' "$1" >/proc/sys/kernel/hostname || return 1
}
