# secure-boot-is-off: the firmware does not insist on signed loaders (variable SecureBoot, its value is the fifth byte).
verb_secure_boot_is_off() {
    v_file=/sys/firmware/efi/efivars/SecureBoot-8be4df61-93ca-11d2-aa0d-00e098032b8c
    [ -e "$v_file" ] || return 0
    od -An -v -tx1 -j4 "$v_file" >"$WORK/secure-boot" || return 1
    v_value=$(tr -d ' \n' <"$WORK/secure-boot")
    [ "$v_value" = 00 ] && return 0
    printf 'Secure Boot is on (value %s)\n' "$v_value" >&2
    return 1
}
