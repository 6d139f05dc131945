#!/bin/sh
# collector.sh [DISK...]: gathers what a survey is made from, on a machine without Python. Run it as root on the
# live medium and send its output to a file:
#
#     sh collector.sh > /media/stick/capture.txt
#
# With DISKs (such as /dev/sda) only those are looked at. It reads only. Nothing is mounted except FAT volumes of
# the EFI system partition type, read-only, in a private folder, and only while their files are listed.
#
# Output: "== SUBJECT [OF WHAT]" begins a section, "| " begins each line of its content, "!! " begins a sentence
# about something that could not be read. Nothing else begins a line.
#
# Exit status: 0 done; 1 done, but not as root, so that no disk was looked into; 2 stopped, or a word is no disk.

{ # All of it is one command: a copy that was cut off anywhere does nothing.
for node in "$@"; do
    if [ ! -b "$node" ]; then
        printf 'collector: %s: this is no disk; give nodes such as /dev/sda, or nothing to look at all disks\n' "$node" >&2
        exit 2
    fi
done

LC_ALL=C
PATH=$PATH:/usr/local/sbin:/usr/sbin:/sbin
export LC_ALL PATH
umask 077

WORK=$(mktemp -d) || exit 2
MOUNTED=

# shellcheck disable=SC2317 # the trap calls it
clean_up() {
    if [ -n "$MOUNTED" ]; then
        umount "$WORK/esp" || return
        MOUNTED=
    fi
    [ ! -d "$WORK/esp" ] || rmdir "$WORK/esp"
    rm -f "$WORK/out" "$WORK/err" "$WORK/signature"
    rmdir "$WORK"
}
trap clean_up EXIT
trap 'exit 2' HUP INT TERM

# --- output ----------------------------------------------------------------------------------------------------

# say WORDS: to the person, on standard error; the capture is on standard output.
say() {
    printf 'collector: %s\n' "$*" >&2
}

note() {
    printf '!! %s\n' "$*"
}

# content: marks every line of standard input as content.
content() {
    tr '\000\r' '??' | while IFS= read -r line || [ -n "$line" ]; do
        printf '| %s\n' "$line"
    done
}

# section TITLE: a section with the content on standard input.
section() {
    printf '== %s\n' "$1"
    content
}

have() {
    command -v "$1" >/dev/null 2>&1
}

# What was plugged in a moment ago gets its serial number from udev, a little later (udevadm(8)).
! have udevadm || udevadm settle --timeout=10 >/dev/null 2>&1

# try TITLE COMMAND [ARG...]: a section with the command's output, or a note why there is none.
try() {
    title=$1
    shift
    if ! have "$1"; then
        note "$title: this system has no $1"
        return 1
    fi
    if ! "$@" >"$WORK/out" 2>"$WORK/err"; then
        note "$title: $1 failed: $(head -n 1 "$WORK/err")"
        return 1
    fi
    section "$title" <"$WORK/out"
}

# from_file TITLE PATH: a section with the content of a file, nothing if there is no such file.
from_file() {
    [ ! -r "$2" ] || section "$1" <"$2" 2>/dev/null
}

# fact KEY PATH: one line KEY=CONTENT of the first line of a file, nothing if there is no such file.
fact() {
    [ -r "$2" ] || return 0
    value=$(head -n 1 "$2" 2>/dev/null) || return 0
    printf '%s=%s\n' "$1" "$value"
}

# --- machine and firmware ----------------------------------------------------------------------------------------

controllers() {
    for device in /sys/bus/pci/devices/*; do
        [ -r "$device/class" ] || continue
        printf '%s %s %s\n' "$(cat "$device/class")" "$(cat "$device/vendor")" "$(cat "$device/device")"
    done
}

# variable NAME: the value of a firmware variable as hexadecimal bytes, its four bytes of attributes first.
variable() {
    for path in /sys/firmware/efi/efivars/"$1"-*; do
        [ -r "$path" ] || continue
        od -An -v -tx1 "$path" >"$WORK/out" 2>/dev/null || continue
        section "variable $1" <"$WORK/out"
        return
    done
}

firmware() {
    if [ ! -d /sys/firmware/efi ]; then
        echo bios | section firmware-mode
        return
    fi
    echo uefi | section firmware-mode
    from_file firmware-width /sys/firmware/efi/fw_platform_size
    variable SecureBoot
    variable SetupMode
    variable SbatLevelRT
    try variables-room df -Pk /sys/firmware/efi/efivars
    try boot-entries efibootmgr -v
}

machine() {
    try taken date -u +%Y-%m-%dT%H:%M:%SZ
    try architecture uname -m
    from_file memory /proc/meminfo
    try cpu grep -m 1 vendor_id /proc/cpuinfo
    from_file vendor /sys/class/dmi/id/sys_vendor
    from_file product /sys/class/dmi/id/product_name
    controllers | section pci
    firmware
}

# --- network links -----------------------------------------------------------------------------------------------

link_facts() {
    fact address "$1/address"
    fact address_kind "$1/addr_assign_type"
    fact type "$1/type"
    fact carrier "$1/carrier"
    if [ -d "$1/wireless" ] || [ -e "$1/phy80211" ]; then
        echo wireless=1
    fi
    if [ -e "$1/device" ]; then
        echo device=1
    fi
    if [ -e "$1/device/driver" ]; then
        printf 'driver=%s\n' "$(basename "$(readlink -f "$1/device/driver")")"
    fi
    if have ethtool; then
        permanent=$(ethtool -P "$(basename "$1")" 2>/dev/null) && printf 'permanent=%s\n' "${permanent##* }"
    fi
}

links() {
    try ip-link ip -j link
    for path in /sys/class/net/*; do
        [ -e "$path/address" ] || continue
        link_facts "$path" | section "link $(basename "$path")"
    done
}

# --- disks -------------------------------------------------------------------------------------------------------

# kernel_name NODE: the name below /sys/class/block.
kernel_name() {
    printf '%s\n' "${1#/dev/}" | tr / '!'
}

# all_disks: nodes of the disks of this machine, one a line.
all_disks() {
    for path in /sys/block/*; do
        name=$(basename "$path")
        case $name in
        loop* | ram* | zram* | sr* | fd* | dm-* | md* | nbd* | mtdblock* | mmcblk*boot* | mmcblk*rpmb) continue ;;
        esac
        [ "$(cat "$path/size")" != 0 ] || continue
        printf '/dev/%s\n' "$(printf '%s\n' "$name" | tr '!' /)"
    done
}

disk_facts() {
    sys=/sys/class/block/$(kernel_name "$1")
    if have blockdev; then
        size=$(blockdev --getsize64 "$1" 2>/dev/null) && printf 'size=%s\n' "$size"
    fi
    fact blocks "$sys/size"
    fact sector "$sys/queue/logical_block_size"
    fact physical "$sys/queue/physical_block_size"
    fact rotational "$sys/queue/rotational"
    fact removable "$sys/removable"
    fact model "$sys/device/model"
    fact serial "$sys/device/serial"
    fact wwn "$sys/wwid"
}

stable_names() {
    for path in /dev/disk/by-id/*; do
        if [ "$(readlink -f "$path")" = "$1" ]; then
            printf '%s\n' "$path"
        fi
    done
}

# head_of NODE: the partition records of the first sector, and the GPT header in the second, as hexadecimal bytes.
head_of() {
    if ! sector=$(cat "/sys/class/block/$(kernel_name "$1")/queue/logical_block_size") ||
        ! dd if="$1" of="$WORK/out" bs="$sector" count=2 2>"$WORK/err"; then
        note "first sectors of $1: not readable: $(head -n 1 "$WORK/err")"
        return
    fi
    od -An -v -tx1 -j 446 -N 66 "$WORK/out" | section "records $1"
    od -An -v -tx1 -j "$sector" -N 92 "$WORK/out" | section "header $1"
}

# table NODE: the partition table, twice: as data, and as the dump a person can feed back to sfdisk; or sfdisk's word
# that there is none, which is not the same as a disk it could not open.
table() {
    if ! have sfdisk; then
        note "table $1: this system has no sfdisk"
        return
    fi
    if ! sfdisk --json "$1" >"$WORK/out" 2>"$WORK/err"; then
        if grep -q 'does not contain a recognized partition table' "$WORK/err"; then
            section "table-none $1" <"$WORK/err"
            return
        fi
        note "table $1: $(head -n 1 "$WORK/err")"
        return
    fi
    section "table $1" <"$WORK/out"
    section "table-remarks $1" <"$WORK/err"
    try "table-dump $1" sfdisk --dump "$1"
}

# signature NODE: what lies on a disk or in a partition, also left in $WORK/signature. blkid exits with 2 where it
# finds nothing, and with 8 where it finds more than one thing.
signature() {
    : >"$WORK/signature"
    if ! have blkid; then
        note "signature $1: this system has no blkid"
        return
    fi
    blkid -p -o export "$1" >"$WORK/signature" 2>/dev/null
    status=$?
    case $status in
    0) section "signature $1" <"$WORK/signature" ;;
    2) section "signature $1" </dev/null ;;
    8) note "signature $1: carries signatures of more than one kind" ;;
    *) note "signature $1: blkid failed (exit status $status); this needs root" ;;
    esac
}

# signatures NODE: everything that carries a signature on a disk, records at its ends included.
signatures() {
    try "signatures $1" wipefs --no-act --json "$1"
}

# volume_group NODE: name and identity of the group of a physical volume, from the newest of the descriptions in its
# first MiB: NAME {, id = "...", seqno = N, a line each (text format of lvm(8)).
volume_group() {
    dd if="$1" bs=65536 count=16 2>/dev/null | tr '\000' '\n' | sed -n '/^[A-Za-z0-9+_.-]* {$/{
        N
        N
        s/^\([^ ]*\) {\nid = "\([^"]*\)"\nseqno = \([0-9]*\)$/\3 name=\1 uuid=\2/p
        }' | sort -n | tail -n 1 | cut -d ' ' -f 2,3 | tr ' ' '\n' | section "volume-group $1"
}

# tail_of NODE: which of the last 256 blocks of 512 bytes hold anything but zeros, counted from the end (1 is the last).
tail_of() {
    blocks=$(cat "/sys/class/block/$(kernel_name "$1")/size") || return
    [ "$blocks" -ge 256 ] || return
    if ! dd if="$1" of="$WORK/out" bs=512 skip=$((blocks - 256)) count=256 2>"$WORK/err"; then
        note "last sectors of $1: not readable: $(head -n 1 "$WORK/err")"
        return
    fi
    od -An -v -tx1 "$WORK/out" | awk '/[1-9a-f]/ { block = int((NR - 1) / 32); if (!(block in seen)) print 256 - block }
        /[1-9a-f]/ { seen[block] = 1 }' | section "tail $1"
}

# signed KEY: the value of a key in $WORK/signature.
signed() {
    sed -n "s/^$1=//p" "$WORK/signature" | head -n 1
}

# --- inside the partitions ---------------------------------------------------------------------------------------

esp_files() {
    find "$1" -type f -name '*.[eE][fF][iI]' | sed "s|^$1||" | sort
}

# esp_at NODE FOLDER: room and loader files of an EFI system partition mounted on FOLDER.
esp_at() {
    try "esp-room $1" df -Pk "$2"
    esp_files "$2" | section "esp-files $1"
}

# esp_unmounted NODE: the same of one that is not mounted, where it can neither be mounted: with mtools.
esp_unmounted() {
    if ! have mdir || ! mdir -i "$1" :: >"$WORK/out" 2>/dev/null; then
        note "inside of $1: it could not be mounted read-only, and mtools could not read it"
        return
    fi
    tr -d ' ' <"$WORK/out" | sed -n 's/bytesfree$//p' | section "esp-free $1"
    mdir -b -/ -i "$1" :: | sed -n 's/^:://; /\.[eE][fF][iI]$/p' | sort | section "esp-files $1"
}

esp() {
    place=$(sed -n "s|^$1 \([^ ]*\) .*|\1|p" /proc/mounts | head -n 1)
    if [ -n "$place" ]; then
        esp_at "$1" "$place"
        return
    fi
    mkdir -p "$WORK/esp"
    if ! mount -t vfat -o ro,nosuid,nodev,noexec "$1" "$WORK/esp" 2>/dev/null; then
        esp_unmounted "$1"
        return
    fi
    MOUNTED=$1
    esp_at "$1" "$WORK/esp"
    umount "$WORK/esp" && MOUNTED=
}

# ntfs NODE: sizes from ntfsresize, which only reads with --info; and the answer of ntfs-3g.probe as its exit status
# (0 clean, 14 hibernated, 15 not shut down cleanly).
ntfs() {
    try "ntfs $1" ntfsresize --info --force --no-progress-bar "$1"
    if have ntfs-3g.probe; then
        ntfs-3g.probe --readwrite "$1" >/dev/null 2>&1
        echo $? | section "ntfs-state $1"
    else
        note "ntfs-state $1: this system has no ntfs-3g.probe, so whether the volume was shut down is not known"
    fi
}

inside() {
    kind=$(signed PART_ENTRY_TYPE)
    case $(signed TYPE) in
    vfat)
        case $kind in
        c12a7328-f81f-11d2-ba4b-00a0c93ec93b | 0xef) esp "$1" ;;
        esac
        ;;
    ntfs) ntfs "$1" ;;
    ext2 | ext3 | ext4) try "ext $1" dumpe2fs -h "$1" ;;
    btrfs) try "btrfs $1" btrfs inspect-internal dump-super "$1" ;;
    xfs)
        try "xfs $1" xfs_db -r -c 'sb 0' -c 'print blocksize dblocks fdblocks' "$1"
        try "xfs-log $1" xfs_logprint -t "$1"
        ;;
    LVM2_member) volume_group "$1" ;;
    esac
}

holders() {
    for path in "/sys/class/block/$(kernel_name "$1")/holders"/*; do
        [ -e "$path" ] || continue
        if [ -r "$path/dm/name" ]; then
            cat "$path/dm/name"
        else
            basename "$path"
        fi
    done
}

partitions_of() {
    for path in "/sys/class/block/$(kernel_name "$1")"/*/partition; do
        [ -e "$path" ] || continue
        printf '/dev/%s\n' "$(basename "$(dirname "$path")" | tr '!' /)"
    done
}

disk() {
    say "looking at $1"
    disk_facts "$1" | section "disk $1"
    stable_names "$1" | section "by-id $1"
    head_of "$1"
    table "$1"
    tail_of "$1"
    signatures "$1"
    signature "$1"
    [ "$(signed TYPE)" != LVM2_member ] || volume_group "$1"
    holders "$1" | section "holders $1"
    for node in $(partitions_of "$1"); do
        signature "$node"
        inside "$node"
        holders "$node" | section "holders $node"
    done
}

disks() {
    lsblk --json -b -O "$@" >"$WORK/out" 2>/dev/null ||
        lsblk --json -b -o NAME,KNAME,TYPE,SIZE,SERIAL,MODEL,WWN,TRAN,FSTYPE,LABEL,UUID,MOUNTPOINT "$@" \
            >"$WORK/out" 2>/dev/null ||
        note "lsblk: missing, or too old to answer in JSON"
    section lsblk <"$WORK/out"
    from_file mounts /proc/mounts
    from_file swaps /proc/swaps
    from_file arrays /proc/mdstat
    for node in "$@"; do
        disk "$node"
    done
}

# -----------------------------------------------------------------------------------------------------------------

echo 'bedplate-capture 1'
if [ "$(id -u)" != 0 ]; then
    note 'not run as root: partition tables and what is inside the partitions could not be read; run it again as root'
    say 'not run as root: no disk can be looked into; stop it and run it again as root'
fi
say 'looking at the machine, its firmware and its network cards; disks take a while, nothing is changed'
machine
links
if [ $# -eq 0 ]; then
    # Kernel names hold no blanks.
    # shellcheck disable=SC2046
    set -- $(all_disks)
fi
[ $# -gt 0 ] || say 'no disk was found'
[ $# -eq 0 ] || disks "$@"
if ! echo '== end'; then
    say 'stopped: the capture could not be written; is the stick full?'
    exit 2
fi
if [ "$(id -u)" != 0 ]; then
    say 'done, but NOT as root: partition tables and partitions were not read. Run it again as root'
    exit 1
fi
say 'done'
exit
}
