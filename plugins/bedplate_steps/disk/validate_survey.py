"""The spec against the survey: which disk is meant, what stands on it, what a kept partition may be.

Enters: the section and the survey. Leaves: the surveyed disk, and faults with paths below the section.
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.faults import Fault, nearest, shown
from bedplate.other_systems import unpluggable
from bedplate.survey import Survey, SurveyedDisk, SurveyedPartition
from bedplate.units import MIB, in_gib
from bedplate_steps.disk.erasures import erase_faults, to_erase
from bedplate_steps.disk.model import DiskSection, Keep
from bedplate_steps.disk.partition_types import RECOVERY, RESERVE, RESERVED, TYPES
from bedplate_steps.disk.shrink import planned_shrink

RAID_CONTROLLER = "0104"
"""PCI class of a RAID controller (PCI code and ID assignment)."""
COMFORT = 10 * 1024 * MIB
"""Bytes the other system should have left for its own updates; less is a warning (common practice, no source)."""


def identity_faults(section: DiskSection) -> Iterator[Fault]:
    """Whether the section names a disk at all, and in one way that lasts."""
    ways = [bool(section.serial), bool(section.by_id), bool(section.model or section.size)]
    allowed = 'serial = "...", or by_id = "/dev/disk/by-id/...", or model = "..." with size = "... B"'
    if sum(ways) != 1:
        message = "the disk is not named" if not any(ways) else "the disk is named in more than one way"
        yield Fault(code="disk-unnamed" if not any(ways) else "disk-named-twice", message=message, allowed=allowed)
    elif bool(section.model) != (section.size is not None):
        missing = "size" if section.model else "model"
        yield Fault(code="disk-unnamed", message=f"model and size go together, {missing} is missing", allowed=allowed)


def named_disks(section: DiskSection, survey: Survey) -> list[SurveyedDisk]:
    """Every surveyed disk the section's words fit."""
    return [disk for disk in survey.disks if _fits(section, disk)]


def _fits(section: DiskSection, disk: SurveyedDisk) -> bool:
    if section.serial:
        return disk.serial == section.serial
    if section.by_id:
        return section.by_id.rsplit("/", 1)[-1] in {name.rsplit("/", 1)[-1] for name in disk.by_id}
    size = section.size.bytes if section.size else 0
    return bool(section.model) and (disk.model, disk.size_bytes) == (section.model, size)


def disk_of(section: DiskSection, survey: Survey) -> SurveyedDisk | None:
    """The one surveyed disk the section means, or None."""
    hits = named_disks(section, survey)
    return hits[0] if len(hits) == 1 else None


def disk_faults(section: DiskSection, survey: Survey) -> Iterator[Fault]:
    """Whether the survey holds exactly one such disk, and one that can be worked on."""
    hits = named_disks(section, survey)
    if len(hits) != 1:
        yield _not_one(section, survey, hits)
        return
    disk = hits[0]
    if disk.sector_size not in (512, 4096):
        yield Fault(
            code="sector-size", message=f"the disk has sectors of {disk.sector_size} bytes", allowed="512 or 4096 bytes"
        )
    if unpluggable(disk):
        yield _removable(section)
    yield from _table_faults(section, disk)


def _removable(section: DiskSection) -> Fault:
    bridge = "A USB bridge can show another sector size than the disk has inside a machine."
    if section.removable:
        return Fault(
            code="disk-removable",
            message="the new system goes onto a disk that can be unplugged",
            path=("removable",),
            notes=("Make sure that it is neither the live medium nor a backup; unplug every other such disk.", bridge),
            warning=True,
        )
    return Fault(
        code="removable-disk",
        message="this disk can be unplugged: it may be the live medium or somebody's backup",
        allowed="a disk that is built in; or removable = true, if the new system shall live on this one",
        notes=(bridge,),
    )


def _not_one(section: DiskSection, survey: Survey, hits: list[SurveyedDisk]) -> Fault:
    key, found, known = _named_by(section, survey)
    if hits:
        return Fault(
            code="disk-ambiguous",
            message=f"{len(hits)} disks of the survey fit",
            path=(key,),
            found=shown(found),
            allowed="by_id, which names one",
        )
    return Fault(
        code="survey-of-another-machine",
        message="the survey has no such disk: it is the survey of another machine, or the name is mistyped",
        path=(key,),
        found=shown(found),
        allowed=", ".join(shown(name) for name in known) or "a survey with a disk",
        nearest=nearest(found, known),
        notes=_hidden(survey),
    )


def _hidden(survey: Survey) -> tuple[str, ...]:
    """Why a disk that is in the machine may not be in its survey."""
    if not any(item.startswith(RAID_CONTROLLER) for item in survey.machine.pci):
        return ()
    return (
        "A storage controller is in RAID mode (vendors call it RST or VMD), which can hide disks. Do not switch the "
        "mode: the other system does not start after that. Prepare that for AHCI first, by its vendor's instructions.",
    )


def _named_by(section: DiskSection, survey: Survey) -> tuple[str, str, list[str]]:
    if section.serial:
        return "serial", section.serial, [disk.serial for disk in survey.disks if disk.serial]
    if section.by_id:
        return "by_id", section.by_id, [name for disk in survey.disks for name in disk.by_id]
    size = section.size.bytes if section.size else 0
    known = [f"{disk.model}, {disk.size_bytes} B" for disk in survey.disks]
    return "model", f"{section.model}, {size} B", known


def _table_faults(section: DiskSection, disk: SurveyedDisk) -> Iterator[Fault]:
    if disk.unread:
        yield _unread(section, disk)
        return
    yield from erase_faults(section, disk)
    if section.whole_disk:
        yield _lost(disk)
        return
    if not section.table:
        return
    if disk.table is None:
        yield Fault(
            code="no-table",
            message="the disk has no partition table to keep",
            path=("table",),
            found='"keep"',
            allowed='"new"',
            notes=to_erase(disk),
        )
    elif disk.table.label != "gpt":
        yield Fault(
            code="table-not-gpt",
            message=f"the partition table is of the kind {disk.table.label}, which a UEFI start beside it cannot use",
            path=("table",),
            found='"keep"',
            allowed='a GPT; "new" would replace the table and lose everything on the disk',
        )
    for sentence in disk.faults:
        yield Fault(code="table-untrusted", message=f"the partition table cannot be trusted: {sentence}")


def _unread(section: DiskSection, disk: SurveyedDisk) -> Fault:
    return Fault(
        code="table-unread",
        message="the partition table of this disk was never read, so nobody knows what would be lost",
        path=("table",),
        found=shown(section.table),
        allowed="a survey that has read the disk",
        notes=(
            *disk.faults,
            "Run the collector as root on that machine, with sfdisk and blkid on the medium, and make the survey anew.",
            "If it stays so, the table is damaged: save the data; only if all of it may go, clear the disk by hand "
            "(wipefs --all) and survey again.",
        ),
    )


def _lost(disk: SurveyedDisk) -> Fault:
    rows = [f"partition {part.number}: {describe(part, disk.sector_size)}" for part in disk.partitions]
    return Fault(
        code="everything-lost",
        message="a new table means that everything on this disk is lost",
        path=("table",),
        found='"new"',
        notes=tuple(rows) or (f"the whole disk: {_seen(disk)}",),
        warning=True,
    )


def _seen(disk: SurveyedDisk) -> str:
    """What covers a disk without partitions, in words."""
    return disk.content or "no partition and no file system"


def describe(part: SurveyedPartition, sector_size: int) -> str:
    """A surveyed partition in words: `SYSTEM, ntfs, 237.9 GiB`."""
    inside = part.filesystem
    words = [part.name or (inside.label if inside else ""), inside.type if inside else ""]
    return ", ".join([word for word in words if word] + [in_gib(part.size * sector_size)])


# --- kept partitions ---------------------------------------------------------------------------------------------


def row_of(keep: Keep, disk: SurveyedDisk) -> SurveyedPartition | None:
    """The surveyed row of a kept partition."""
    return next((part for part in disk.partitions if part.uuid.upper() == keep.partition.upper()), None)


def keep_faults(section: DiskSection, disk: SurveyedDisk) -> Iterator[Fault]:
    """Whether the kept partitions are those of the survey, each once, and what they are said to be."""
    if section.whole_disk:
        if section.keep:
            message = "nothing can be kept when the table is made anew"
            yield Fault(code="keep-and-new-table", message=message, path=("keep", 0), allowed='table = "keep"')
        return
    known = [part.uuid.upper() for part in disk.partitions]
    for index, keep in enumerate(section.keep):
        row = row_of(keep, disk)
        if row is None:
            yield Fault(
                code="kept-partition-missing",
                message=f"the survey has no partition with this GUID, so {keep.name} cannot be kept",
                path=("keep", index, "partition"),
                found=shown(keep.partition),
                allowed="the unique GUID of a surveyed partition",
                nearest=nearest(keep.partition, known),
            )
        else:
            yield from (fault.under("keep", index) for fault in _row_faults(keep, row, disk))
    yield from _unlisted(section, disk)


def _unlisted(section: DiskSection, disk: SurveyedDisk) -> Iterator[Fault]:
    listed = [keep.partition.upper() for keep in section.keep]
    first = {uuid: index for index, uuid in reversed(list(enumerate(listed)))}
    for index, uuid in enumerate(listed):
        if first[uuid] < index:
            message = f"this partition is kept already, as {section.keep[first[uuid]].name}"
            yield Fault(code="kept-twice", message=message, path=("keep", index, "partition"), found=shown(uuid))
    for part in disk.partitions:
        if part.uuid.upper() not in listed:
            words = describe(part, disk.sector_size)
            yield Fault(
                code="partition-not-listed",
                message=f"partition {part.number} of the survey ({words}) is not listed in keep",
                path=("keep",),
                allowed=f'a [[disk.keep]] with partition = "{part.uuid.upper()}"',
                notes=('With table = "keep" every partition found is kept; none is taken over in silence.',),
            )


def _row_faults(keep: Keep, row: SurveyedPartition, disk: SurveyedDisk) -> Iterator[Fault]:
    expected = {TYPES["esp"]: "esp", RESERVED: "reserved", RECOVERY: "recovery"}.get(row.type.upper())
    if expected is not None and keep.role != expected:
        message = f"its partition type says {expected}"
        yield Fault(
            code="role-contradicts-type",
            message=message,
            path=("role",),
            found=f'"{keep.role}"',
            allowed=f'"{expected}"',
        )
    elif expected is None and keep.role == "esp":
        message = f"its partition type is {row.type.upper()}, which firmware does not take for an EFI system partition"
        yield Fault(code="esp-type", message=message, path=("role",), found='"esp"', allowed=TYPES["esp"])
    if "NoBlockIOProtocol" in row.attributes and keep.role == "esp":
        message = "its attribute bit 1 hides it from the firmware (UEFI specification 5.3.3)"
        yield Fault(code="esp-hidden", message=message, path=("partition",))
    yield from _shrink_faults(keep, row, disk)


def _shrink_faults(keep: Keep, row: SurveyedPartition, disk: SurveyedDisk) -> Iterator[Fault]:
    if keep.shrink_to is None:
        return
    inside = row.filesystem.type if row.filesystem else ""
    if keep.role not in ("system", "data") or inside not in ("ntfs", "BitLocker"):
        yield Fault(
            code="shrink-refused",
            message=f"{keep.name} cannot be shrunk: only an NTFS volume can, by hand, in the other system",
            path=("shrink_to",),
            found=f"{keep.role}, {inside or 'unknown content'}",
            allowed="a partition in the role system or data with ntfs on it",
        )
        return
    yield from _too_small(keep, row, disk)


def _too_small(keep: Keep, row: SurveyedPartition, disk: SurveyedDisk) -> Iterator[Fault]:
    path, size = ("shrink_to",), row.size * disk.sector_size
    shrink = planned_shrink(keep, row, disk.sector_size)
    after = shrink.size * disk.sector_size
    wish = f'"{keep.shrink_to}"'
    if shrink.size >= row.size:
        message = f"{keep.name} has {in_gib(size)} in this survey, no more than it is to be shrunk to"
        yield Fault(
            code="shrink-done",
            message=message,
            path=path,
            found=wish,
            allowed="no shrink_to, if it has been shrunk since the spec was written; or a smaller size",
            notes=("The survey was taken after the shrink: the room is free, and nothing is left to take.",),
        )
        return
    floor = _floor(row)
    if floor is None:
        message = f"the survey does not know how full {keep.name} is, so nobody has checked that it can be shrunk"
        yield Fault(
            code="used-space-unknown",
            message=message,
            path=path,
            found=wish,
            warning=True,
            notes=("Look in the other system how much it can be shrunk before anything else.",),
        )
    elif after < floor:
        yield Fault(
            code="shrink-too-far",
            message=f"{keep.name} would have {in_gib(after)}, it needs {in_gib(floor)}",
            path=path,
            found=wish,
            allowed=f"at least {in_gib(floor)}",
            notes=(f"used or not movable {in_gib(floor - RESERVE)} + reserve {in_gib(RESERVE)} = {in_gib(floor)}",),
        )
    elif after < floor + COMFORT:
        message = f"{keep.name} keeps only {in_gib(after - floor + RESERVE)} free: its own updates may fail"
        yield Fault(code="shrink-tight", message=message, path=path, found=wish, warning=True)


def _floor(row: SurveyedPartition) -> int | None:
    inside = row.filesystem
    known = [size for size in (inside.used_bytes, inside.min_bytes) if size is not None] if inside else []
    return max(known) + RESERVE if known else None
