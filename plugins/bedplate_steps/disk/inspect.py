"""The commands with which a person at the keyboard looks whether a guard holds: each prints a line only if it does, and
never because a command is missing, mistyped, fails or prints nothing.

Enters: partitions and numbers of the layout. Leaves: lines for a POSIX shell, the disk's node in `$DISK`; `every`,
`none`, `row` and `room` are the checklist's own helpers, GUIDs of partitions are given by their first eight digits.
sfdisk(8), lsblk(8), blkid(8), od(1); offsets in an NTFS boot sector as in the verb `ntfs-fits`.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Sequence

from bedplate.actions import TARGET
from bedplate.facts import LaidPartition, Layout

_ROWS = 'sfdisk --dump "$DISK"'
Lines = tuple[str, ...]


def the_disk(layout: Layout) -> Lines:
    """Serial number (where there is one), size in bytes and sector size in bytes."""
    numbers = f'lsblk -dnbo SIZE,LOG-SEC "$DISK" | grep -x " *{layout.size_bytes} *{layout.sector_size} *"'
    if not layout.serial:
        return (numbers,)
    return (f'lsblk -dno SERIAL "$DISK" | grep -w -F -e {shlex.quote(layout.serial)}', numbers)


def the_table(table_id: str) -> Lines:
    """The disk GUID."""
    return (f"{_ROWS} | grep -ix 'label-id: {table_id}'",)


def built_in() -> Lines:
    """Neither removable nor on USB or FireWire. HOTPLUG is not asked: it holds for a soldered memory card, too."""
    return ('lsblk -dnPo TRAN,RM "$DISK" | grep -v -e usb -e sbp | grep \'RM="0"\'',)


def surveyed(layout: Layout) -> Lines:
    """The table that the survey saw, or that there is none; then each content, or that there is none."""
    table, sector = layout.before_table, layout.sector_size
    if table is None:
        head: Lines = (f"{_ROWS} 2>&1 | grep 'does not contain a recognized partition table'",)
    else:
        head = the_table(table.id) if table.id else (f"{_ROWS} | grep -x 'label: {table.label}'",)
    disk = [_listed(content) for content in layout.before_contents]
    if table is None and not disk:
        disk = [_blank('"$DISK"')]
    rows = [
        _listed(f"{row.filesystem} {row.fs_uuid}".rstrip())
        if row.filesystem
        else _blank(f'-O {row.start * sector} -S {row.size * sector} "$DISK"')
        for row in layout.before
    ]
    return tuple(dict.fromkeys((*head, *disk, *rows)))


def _listed(content: str) -> str:
    """Type and UUID stand on a line of lsblk(8)."""
    return f'lsblk -rno FSTYPE,UUID "$DISK" | grep -ix -e {shlex.quote(content)}'


def _blank(where: str) -> str:
    """blkid(8) ends with 2 where it looked and found no signature; so it does where there is nothing to look at."""
    return f'[ -r "$DISK" ] && {{ blkid -p {where}; [ $? = 2 ]; }} && echo yes'


def whole() -> Lines:
    """Both headers, and a protective MBR of one record (type EE) without a boot flag."""
    return (
        "sfdisk --verify \"$DISK\" | grep 'No errors'",
        "od -An -tx1 -j 446 -N 5 \"$DISK\" | grep '^ 00 .. .. .. ee'",
    )


def row(part: LaidPartition) -> Lines:
    """The row with that GUID, start and size, in sectors."""
    return (f"row {_short(part)} {part.start} {part.size}",)


def only_known(uuids: Iterable[str]) -> Lines:
    """No row but those with these GUIDs."""
    return (f"every '^(uuid$|{'|'.join(uuid[:8].upper() for uuid in uuids)})' sfdisk -qlo UUID \"$DISK\"",)


def mount_point_is_free(point: str) -> Lines:
    """No mount at that place of the target."""
    return (f"none ' {TARGET}{point.rstrip('/')} ' cat /proc/mounts",)


def ends_by(part: LaidPartition) -> Lines:
    """The row with that GUID and start, and at most that size."""
    return (f"{_ROWS} | tr -d , | awk '/uuid={_short(part)}/ && $4 == {part.start} && $6 <= {part.size}'",)


def ntfs_fits(part: LaidPartition, sector_size: int) -> Lines:
    """Sectors of the volume times their size, against the partition's size in bytes."""
    count, each = (f"$(od -An -{form} {part.node})" for form in ("tu8 -j 40 -N 8", "tu2 -j 11 -N 2"))
    whole = f"n=$(({count} * {each})) && [ $n -gt 0 ] && [ $n -le {part.size * sector_size} ]"
    return (f"{whole} && echo yes",)


def ntfs_clean(part: LaidPartition) -> Lines:
    """The tool's own answer is an exit status only. That it looks at all it shows by refusing what is no volume."""
    refuses = "{ ntfs-3g.probe --readwrite /dev/null 2> /dev/null; [ $? -gt 0 ]; }"
    return (f"{refuses} && ntfs-3g.probe --readwrite {part.node} && echo yes",)


def awake(part: LaidPartition) -> Lines:
    """Not the mark of a hibernated system."""
    return (f"blkid -p -o value -s TYPE {part.node} | grep -Ex 'swap|crypto_LUKS'",)


def left_clean(part: LaidPartition) -> Lines:
    """The tool's own words for a journal, log or log tree with nothing in it."""
    if part.filesystem == "xfs":
        return (f"xfs_logprint -t {part.node} | grep 'state: <CLEAN>'",)
    if part.filesystem == "btrfs":
        return (f"btrfs inspect-internal dump-super {part.node} | grep -xE 'log_root[[:space:]]+0'",)
    return (
        f"dumpe2fs -h {part.node} | grep -xE 'Filesystem state: +clean'",
        f"dumpe2fs -h {part.node} | grep '^Filesystem features:' | grep -v needs_recovery",
    )


def only_a_table() -> Lines:
    """The names of the signatures on the disk itself: those of a GPT and its protective MBR."""
    names = "wipefs -np \"$DISK\" | grep -v '^#' | sed 's/.*,//' | sort -u | tr '\\n' ' '"
    return (f"{names} | grep -xE '(gpt PMBR|PMBR gpt) '",)


def no_twins() -> Lines:
    """GUIDs of partitions, and UUIDs of what is no member of anything and no image of a medium: each is there once."""
    return tuple(
        f"blkid -c /dev/null | {chosen} | awk 'a[$0]++{{n++}} END{{if(NR&&n==0)print \"yes\"}}'"
        for chosen in (
            'grep -o \' PARTUUID="[^"]*"\'',
            "grep -vE 'UUID_SUB=|iso9660|_member' | grep -o ' UUID=\"[^\"]*\"'",
        )
    )


def unused() -> Lines:
    """Only partitions, none of them mounted or used."""
    return ("every '^(disk|part|loop) *$' lsblk -nro TYPE,MOUNTPOINT \"$DISK\"",)


def room_is_free(part: LaidPartition) -> Lines:
    """No row overlaps those sectors."""
    return (f"room {part.start} {part.end}",)


def place_is_blank(first: int, last: int, sector_size: int) -> Lines:
    """blkid(8) knows nothing that begins there."""
    return (_blank(f'--offset {first * sector_size} --size {(last - first + 1) * sector_size} "$DISK"'),)


def not_there(part: LaidPartition) -> Lines:
    """No row has that GUID."""
    return (f"none uuid={_short(part)} {_ROWS}",)


def idle(part: LaidPartition, sector_size: int) -> Lines:
    """The kernel's start (it counts in 512 bytes), and no mount."""
    held = "(part|loop|crypt)" if part.mapper else "(part|loop)"
    unused = f"every '^{held} *$' lsblk -nro TYPE,MOUNTPOINT {part.node}"
    return (_kernel(part, "start", part.start * sector_size // 512), unused)


def size(part: LaidPartition, sector_size: int) -> Lines:
    """The kernel's size of it."""
    return (_kernel(part, "size", part.size * sector_size // 512),)


def _kernel(part: LaidPartition, what: str, number: int) -> str:
    return f'grep -x {number} "/sys/class/block/$(basename "$(readlink -f {part.node})")/{what}"'


def named(part: LaidPartition, *names: str) -> Lines:
    """The row with that GUID has one of these names."""
    sought = " ".join(f"-e 'name=\"{name}\"'" for name in names)
    return (f"{_ROWS} | grep uuid={_short(part)} | grep -F {sought}",)


def none_finished(parts: Iterable[LaidPartition]) -> Lines:
    """No row with one of these GUIDs has a finished name. A disk without a table has none either, but is shown."""
    ours = "|".join(map(_short, parts))
    judge = f'/^Disk \\// {{ d = 1 }} /{ours}/ && !/ unfinished-/ {{ f = 1 }} END {{ if (d && !f) print "none" }}'
    return (f"sfdisk --list -o UUID,NAME \"$DISK\" | awk '{judge}'",)


def blank(part: LaidPartition, on: str) -> Lines:
    """Nothing that blkid or wipefs knows. Both have to show that they see at all: blkid the row of the partition (of a
    container its exit status 2 says that it looked), wipefs the table of the disk."""
    if on.startswith("/"):
        node, seen = on, f"[ -b {on} ] && {{ blkid -p {on} > /dev/null; [ $? -eq 2 ]; }} && echo blank"
    else:
        node = part.node
        seen = f"blkid -p {node} | grep -v -e ' TYPE=' -e ' PTTYPE=' | grep -i 'PART_ENTRY_UUID=.{_short(part)}'"
    judge = """'/gpt/ && t == "" { print "blank"; exit }'"""
    return (seen, f't=$(wipefs {node}) && wipefs "$DISK" | awk -v t="$t" {judge}')


def holds(part: LaidPartition) -> Lines:
    """The UUID of the file system."""
    return (f"blkid -p -o value -s UUID {part.node} | grep -ix {part.fs_uuid}",)


def ours(made: Sequence[LaidPartition]) -> Lines:
    """The rows of new partitions that lie where planned; and which hold what was made there, and are not mounted."""
    rows = "|".join(f"start= +{part.start}, size= +{part.size}, .+uuid={part.uuid}" for part in made)
    held = "|".join(f"{part.uuid} {part.luks_uuid or part.fs_uuid}" for part in made)
    return (
        f"sfdisk --dump \"$DISK\" | grep -iE '{rows}'",
        f"lsblk -rno PARTUUID,UUID,MOUNTPOINT \"$DISK\" | grep -iE '^({held}) ?$'",
    )


def _short(part: LaidPartition) -> str:
    return part.uuid[:8].upper()
