"""Which partitions hold another operating system, by evidence in a fixed order; never by size alone.

Enters: a survey. Leaves: rows of it. A disk starts a system if it has an EFI system partition: a disk without one holds
data, whatever lies on it (its own system gives every GPT a reserved partition). Of several volumes the first behind
the reserved partition is the system's, else the first: common practice, no source; true of all real tables compared.
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.survey import Survey, SurveyedDisk, SurveyedPartition
from bedplate.units import GIB

ESP = "C12A7328-F81F-11D2-BA4B-00A0C93EC93B"
RESERVED = "E3C9E316-0B5C-4DB8-817D-F92DF00215AE"
RECOVERY = "DE94BBA4-06D1-4D40-A16A-BFD50179D6AC"
"""Type GUIDs as `sfdisk --label gpt -T` lists them."""
VOLUMES = ("ntfs", "BitLocker", "apfs", "hfsplus")
"""What such a system lies in, as libblkid names it."""
LOCAL_TIME = ("ntfs", "BitLocker")
"""Volumes of systems that read the hardware clock as local time unless they are told otherwise."""
SMALLEST = 8 * GIB
"""Bytes below which a volume holds tools rather than a system, where there is a larger one (common practice)."""


def unpluggable(disk: SurveyedDisk) -> bool:
    """Whether the survey saw a disk that can be pulled out: a stick, a card, a backup disk."""
    return disk.removable or disk.transport in ("usb", "sbp")


def entries(disk: SurveyedDisk, survey: Survey) -> tuple[str, ...]:
    """Labels of the firmware's boot entries that start something from this disk, in the firmware's order."""
    own = {part.uuid.casefold() for part in disk.partitions if part.uuid}
    return tuple(entry.label for entry in survey.firmware.entries if entry.partition.casefold() in own)


def has_esp(disk: SurveyedDisk) -> bool:
    """Whether the firmware could start something from it."""
    return any(part.type.upper() == ESP for part in disk.partitions)


def system_of(disk: SurveyedDisk) -> SurveyedPartition | None:
    """The volume of the system that starts from this disk, or None."""
    rows = sorted(disk.partitions, key=lambda part: part.start)
    volumes = [
        part
        for part in rows
        if part.type.upper() not in (ESP, RESERVED, RECOVERY)
        and part.filesystem is not None
        and part.filesystem.type in VOLUMES
    ]
    if not has_esp(disk) or not volumes:
        return None
    large = [part for part in volumes if part.size * disk.sector_size >= SMALLEST] or volumes
    reserved = [part.end for part in rows if part.type.upper() == RESERVED]
    behind = [part for part in large if reserved and part.start > reserved[0]]
    return (behind or large)[0]


def elsewhere(disk: SurveyedDisk, survey: Survey) -> Iterator[tuple[SurveyedDisk, SurveyedPartition]]:
    """Systems on the other disks that are built in: a plan for `disk` leaves them alone, and what it changes in the
    firmware concerns them, too."""
    for other in survey.disks:
        volume = system_of(other) if other.path != disk.path and not unpluggable(other) else None
        if volume is not None:
            yield other, volume
