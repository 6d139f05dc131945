# host-keys: make the SSH host keys the target does not have, if it has an SSH server.
verb_host_keys() {
    [ -x "$TARGET/usr/sbin/sshd" ] || [ -x "$TARGET/usr/bin/sshd" ] || return 0
    in_target ssh-keygen -A || return 1
}
