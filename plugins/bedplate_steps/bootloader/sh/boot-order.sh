# boot-order [FILE]: print the firmware's boot order, one four-digit number a line. FILE: a saved copy of the variable.
# A variable file holds four bytes of attributes, then 16-bit numbers, low byte first (UEFI 2.10, 3.1).
verb_boot_order() {
    v_file=${1:-/sys/firmware/efi/efivars/BootOrder-8be4df61-93ca-11d2-aa0d-00e098032b8c}
    [ -e "$v_file" ] || return 0
    v_bytes=$(od -An -v -tx1 -j4 "$v_file") || return 1
    # shellcheck disable=SC2086 # a word is a byte
    set -- $v_bytes
    while [ $# -gt 1 ]; do
        printf '%04X\n' "0x$2$1"
        shift 2
    done
}
