"""A first `[disk]` section for a surveyed machine, with comments that say why.

Enters: a survey. Leaves: TOML text. Every partition found is kept; the disk is taken as a whole only where it has no
table to keep. Sizes of swap follow the handbook table of one enterprise distribution (twice the memory below 2 GiB,
the memory up to 8 GiB, at least 4 GiB above).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import tomli_w

from bedplate.survey import Survey, SurveyedDisk, SurveyedPartition
from bedplate.twins import labels
from bedplate.units import GIB, MIB, align_down, in_gib
from bedplate_steps.disk.erasing import written
from bedplate_steps.disk.kept_linux import root_of
from bedplate_steps.disk.kinds import BASIC_DATA, RECOVERY, RESERVE, RESERVED, TYPES
from bedplate_steps.disk.rules import LOADER_ROOM

SMALLEST_ROOT = 16 * GIB
"""Bytes below which the draft asks for a shrink, or leaves swap out (common practice, no source)."""
COMFORT = 24 * GIB
"""Bytes a suggested shrink leaves free in the other system at least (common practice, no source)."""
_HOLDS_A_SYSTEM = ("ntfs", "BitLocker", "apfs", "hfsplus")


def draft(survey: Survey) -> str:
    """The section as commented TOML."""
    disk = _disk(survey)
    if disk is None:
        return "# The survey has no fixed disk: write this section by hand.\n[disk]\n"
    if disk.unread:
        return "\n".join(_unread(disk))
    keeps = _keeps(disk)
    return "\n".join(
        [*_head(survey, disk, keeps), *_kept(disk, keeps), *_new(survey, disk, keeps), *_other(disk, keeps)]
    )


def _disk(survey: Survey) -> SurveyedDisk | None:
    """The largest disk that is built in; without one, the largest of all."""
    fixed = [disk for disk in survey.disks if not disk.removable and disk.transport != "usb"]
    return max(fixed or survey.disks, key=lambda disk: disk.size_bytes, default=None)


def _unread(disk: SurveyedDisk) -> Iterator[str]:
    """No plan: whatever stood here could be taken for one."""
    yield f"# {_words(disk)}: it was NOT READ during the survey, so nobody knows what is on it, and nothing is planned."
    yield "# Run the collector as root on that machine, make the survey anew, and draft again."
    yield "[disk]"
    yield _named(disk) + "\n"


def _keeps(disk: SurveyedDisk) -> bool:
    return disk.table is not None and disk.table.label == "gpt" and bool(disk.partitions)


def _toml(**values: object) -> str:
    return tomli_w.dumps(values).rstrip("\n")


def _head(survey: Survey, disk: SurveyedDisk, keeps: bool) -> Iterator[str]:
    yield "[disk]"
    others = len(survey.disks) - 1
    yield f"# {_words(disk)}" + (f"; the machine has {others} more: make sure that this is the one." if others else ".")
    yield _named(disk)
    if keeps:
        yield "# Everything that is on the disk stays; new partitions are appended."
        yield _toml(table="keep")
        return
    yield "# Only a person erases a disk. If everything on it may be LOST, take the # away from these lines:"
    yield from (f"# {line}" for line in written(disk))


def _words(disk: SurveyedDisk) -> str:
    model = " ".join(word for word in disk.model.split() if word.isprintable())
    return f"{model or 'The disk'}, {in_gib(disk.size_bytes)}, sectors of {disk.sector_size} bytes"


def _named(disk: SurveyedDisk) -> str:
    if disk.serial:
        return _toml(serial=disk.serial)
    if disk.by_id:
        return _toml(by_id=disk.by_id[0])
    if disk.model:
        return _toml(model=disk.model, size=f"{disk.size_bytes} B")
    return "# This disk has no serial number, no by-id name and no model: it cannot be told apart from another one."


# --- kept ----------------------------------------------------------------------------------------------------


def _kept(disk: SurveyedDisk, keeps: bool) -> Iterator[str]:
    shared = _shared_esp(disk)
    shrunk, amount = _shrink(disk)
    names: list[str] = []
    for part in disk.partitions if keeps else ():
        role = _role(part, disk)
        linux = root_of(disk)
        names.append("older-system" if part is linux[0] else _name(role, part, names))
        yield f"\n[[disk.keep]]\n# Partition {part.number}: {_what(part, disk)}"
        if part is linux[0]:
            yield f"# The root of another Linux: {''.join(sign for sign in linux[1] if sign.isprintable())}."
        yield _toml(name=names[-1], partition=part.uuid.upper(), role=role)
        if part is shared:
            yield "# Shared with what is there: it is mounted and never formatted."
            yield _toml(mount="/boot/efi")
        if part is shrunk:
            yield "# By hand, in that system itself, before the live medium is started. It leaves half of what is free."
            yield _toml(shrink_to=f"{(part.size * disk.sector_size - amount) // MIB}MiB")


def _what(part: SurveyedPartition, disk: SurveyedDisk) -> str:
    inside = part.filesystem
    label = "".join(sign for sign in (inside.label if inside else "") if sign.isprintable())
    used = inside.used_bytes if inside else None
    words = [in_gib(part.size * disk.sector_size), inside.type if inside else "unknown content"]
    words += [f"labelled {label}"] if label else []
    words += [f"{in_gib(used)} used"] if used is not None else []
    return ", ".join(words)


def _role(part: SurveyedPartition, disk: SurveyedDisk) -> str:
    known = {TYPES["esp"]: "esp", RESERVED: "reserved", RECOVERY: "recovery"}
    if part.type.upper() in known:
        return known[part.type.upper()]
    inside = part.filesystem.type if part.filesystem else ""
    if inside in _HOLDS_A_SYSTEM:
        largest = max((other for other in disk.partitions if _may_boot(other)), key=lambda other: other.size)
        return "system" if part is largest else "data"
    return "system" if part is root_of(disk)[0] else "other"


def _may_boot(part: SurveyedPartition) -> bool:
    inside = part.filesystem.type if part.filesystem else ""
    return inside in _HOLDS_A_SYSTEM and part.type.upper() != RECOVERY


def _name(role: str, part: SurveyedPartition, taken: list[str]) -> str:
    name = role if role == "esp" else f"factory-{role}"
    return f"{name}-{part.number}" if name in taken else name


def _shared_esp(disk: SurveyedDisk) -> SurveyedPartition | None:
    """The first EFI system partition that a boot loader fits on, as far as the survey knows."""
    for part in disk.partitions:
        inside = part.filesystem
        room = inside.free_bytes if inside else None
        fat = inside is None or inside.type == "vfat"
        if part.type.upper() == TYPES["esp"] and fat and (room is None or room >= LOADER_ROOM):
            return part
    return None


# --- new ----------------------------------------------------------------------------------------------------


def _room(disk: SurveyedDisk) -> int:
    """Bytes of the largest free region, aligned."""
    return max((region.aligned_mib for region in disk.free), default=0) * MIB


def _shrink(disk: SurveyedDisk) -> tuple[SurveyedPartition | None, int]:
    """The volume to shrink and by how many bytes, where there is too little room and one can be shrunk."""
    if _room(disk) >= SMALLEST_ROOT:
        return None, 0
    for part in disk.partitions:
        inside = part.filesystem
        if inside is None or inside.type != "ntfs" or part.type.upper() != BASIC_DATA or inside.used_bytes is None:
            continue
        free = part.size * disk.sector_size - max(inside.used_bytes, inside.min_bytes or 0) - RESERVE
        amount = align_down(min(free // 2, free - COMFORT), MIB)
        if _role(part, disk) == "system" and amount >= SMALLEST_ROOT:
            return part, amount
    return None, 0


def _new(survey: Survey, disk: SurveyedDisk, keeps: bool) -> Iterator[str]:
    room = max(_room(disk), _shrink(disk)[1]) if keeps else disk.size_bytes
    if not keeps or _shared_esp(disk) is None:
        yield "\n[[disk.new]]\n# The firmware starts systems from here. 1 GiB leaves room for kernels and updates."
        yield _toml(name="esp", size="1GiB", filesystem="vfat", label=_label(survey, "ESP"), mount="/boot/efi")
    yield f"\n[[disk.new]]\n# What is left of the largest free region ({in_gib(room)})."
    if room < SMALLEST_ROOT:
        yield "# That is little: make room in the system that is there, or take another disk."
    yield _toml(name="root", size="rest", filesystem="ext4", label=_label(survey, "root"), mount="/")
    yield "# encrypt = true  # asks for a passphrase at each start; swap needs it then too, and a /boot beside it"
    memory = survey.machine.memory_bytes
    swap = _swap(memory)
    if room >= SMALLEST_ROOT + swap:
        yield f"\n[[disk.new]]\n# For {in_gib(memory)} of memory. To hibernate, make it at least that large."
        yield _toml(name="swap", size=f"{swap // MIB}MiB", filesystem="swap", label=_label(survey, "swap"))
    else:
        yield '\n# Room is short, so there is no swap partition. A swap file in [disk]: swap_file = { size = "1GiB" }'


def _label(survey: Survey, wanted: str) -> str:
    """The label, or the first of its kind that nothing on the machine has."""
    taken = {label.casefold() for disk in survey.disks for label, _, _ in labels(disk)}
    tried = itertools.chain([wanted], (f"{wanted}-{number}" for number in itertools.count(2)))
    return next(label for label in tried if label.casefold() not in taken)


def _swap(memory: int) -> int:
    whole = -(-memory // GIB) * GIB
    if memory < 2 * GIB:
        return max(2 * whole, GIB)
    return whole if memory <= 8 * GIB else 4 * GIB


def _other(disk: SurveyedDisk, keeps: bool) -> Iterator[str]:
    roles = [_role(part, disk) for part in disk.partitions] if keeps else []
    if "system" not in roles:
        yield ""
        return
    encrypted = any(part.filesystem and part.filesystem.type == "BitLocker" for part in disk.partitions)
    yield "\n[disk.other_system]"
    if not any(_role(part, disk) == "system" and part is not root_of(disk)[0] for part in disk.partitions):
        yield "# Only a Linux is kept: no recovery key comes in; an encrypted one asks for its passphrase as ever."
        yield _toml(encryption="none") + "\n"
        return
    if encrypted:
        yield "# The survey found an encrypted volume. Say where its recovery key is kept (never the key)."
        yield _toml(encryption="on", recovery_key_place="to be filled in", start_by="firmware-menu") + "\n"
    else:
        yield "# No encrypted volume was seen from here, but many machines come encrypted: look in that system itself."
        yield '# Until you say "none", "suspended" or "on", the steps for its recovery key stay in the plan.'
        yield _toml(encryption="unknown", recovery_key_place="to be filled in") + "\n"
