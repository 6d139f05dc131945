# host-keys-there: the target has an SSH host key, or no SSH server.
verb_host_keys_there() {
    [ -x "$TARGET/usr/sbin/sshd" ] || [ -x "$TARGET/usr/bin/sshd" ] || return 0
    for v_key in "$TARGET"/etc/ssh/ssh_host_*_key; do
        [ -s "$v_key" ] && return 0
    done
    printf 'there is no SSH host key in %s\n' "$TARGET/etc/ssh" >&2
    return 1
}
