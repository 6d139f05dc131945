"""Which disk a draft is for. Enters: a survey. Leaves: every disk with what speaks for it, or against it.

A draft erases nothing: it takes free room beside what is kept, or a disk that was looked at and seen blank. A disk that
can be unplugged is never chosen by itself, nor one that belongs to an array, a pool or a group.
"""

from __future__ import annotations

from attrs import frozen

from bedplate import storage_layers
from bedplate.other_systems import entries, has_esp, system_of, unpluggable
from bedplate.survey import Survey, SurveyedDisk, SurveyedPartition
from bedplate.units import GIB, MIB, align_down, in_gib
from bedplate_steps.disk.erasures import BLANK, disk_contents, seen
from bedplate_steps.disk.partition_types import BASIC_DATA, RESERVE

SMALLEST_ROOT = 16 * GIB
"""Bytes below which the draft asks for a shrink, or leaves swap out (common practice, no source)."""
COMFORT = 24 * GIB
"""Bytes a suggested shrink leaves free in the other system at least (common practice, no source)."""
BESIDE, ROOMY, EMPTY, FULL, OUT = range(5)
"""Beside a system that starts from it; room, but no system; blank; room only if something is erased; not at all."""


@frozen(kw_only=True)
class Candidate:
    """A disk, how well it suits, and why."""

    disk: SurveyedDisk
    rank: int
    why: str


def candidates(survey: Survey) -> tuple[Candidate, ...]:
    """Every disk, the best first, equal ones in the survey's order."""
    return tuple(sorted((judged(disk, survey) for disk in survey.disks), key=lambda one: one.rank))


def chosen(survey: Survey) -> Candidate | None:
    """The one that is better than every other, or None where a person has to choose."""
    usable = [one for one in candidates(survey) if one.rank < OUT]
    best = [one for one in usable if one.rank == usable[0].rank]
    return best[0] if len(best) == 1 else None


def judged(disk: SurveyedDisk, survey: Survey) -> Candidate:
    """How well one disk suits."""
    against = _against(disk)
    if against:
        return Candidate(disk=disk, rank=OUT, why=against)
    if seen(disk) == (BLANK,):
        return Candidate(disk=disk, rank=EMPTY, why="the survey looked at it and saw neither a table nor a signature")
    if not keeps(disk):
        return Candidate(disk=disk, rank=FULL, why=f"it holds {held(disk)}, and has no GPT that could be kept")
    room, (part, amount) = free_room(disk), shrinkable(disk)
    starts = [f'"{label}"' for label in entries(disk, survey)]
    what = "an EFI system partition" if has_esp(disk) else "no EFI system partition"
    what += f" (the firmware starts {', '.join(starts)} from it)" if starts else ""
    what += " and a system" if system_of(disk) else ""
    if room < SMALLEST_ROOT and part is None:
        return Candidate(disk=disk, rank=FULL, why=f"it has {what}, but only {in_gib(room)} of free room in one piece")
    told = f"{in_gib(room)} of free room"
    if part is not None:
        told = f"{in_gib(amount)} of room once partition {part.number} is shrunk"
    return Candidate(disk=disk, rank=BESIDE if has_esp(disk) else ROOMY, why=f"it has {what}, and {told}")


def _against(disk: SurveyedDisk) -> str:
    if disk.unread:
        return "it was not read during the survey"
    owners = [layer.description for _, layer in storage_layers.around(disk) if layer.spreads]
    owners += [
        f"{storage_layers.OWN_TABLE[part.type.upper()].description} (partition {part.number})"
        for part in disk.partitions
        if part.type.upper() in storage_layers.OWN_TABLE
    ]
    if owners:
        return f"it is {owners[0]}"
    how = f"on {disk.transport}" if disk.transport else "removable"
    return f"it can be unplugged ({how}): it may be a backup or the live medium" if unpluggable(disk) else ""


def keeps(disk: SurveyedDisk) -> bool:
    """Whether the disk has a table that new partitions can be appended to."""
    return disk.table is not None and disk.table.label == "gpt" and not disk_contents(disk)


def held(disk: SurveyedDisk) -> str:
    """What is on a disk whose table cannot be kept, in words."""
    parts = [part.filesystem.type if part.filesystem else "unknown content" for part in disk.partitions]
    found = [*disk_contents(disk), *parts]
    table = f"a table of the kind {disk.table.label}" if disk.table else ""
    return " with ".join(word for word in (table, ", ".join(dict.fromkeys(found))) if word)


def free_room(disk: SurveyedDisk) -> int:
    """Bytes of the largest free region, aligned."""
    return max((region.aligned_mib for region in disk.free), default=0) * MIB


def shrinkable(disk: SurveyedDisk) -> tuple[SurveyedPartition | None, int]:
    """The system's volume and by how many bytes it should be shrunk, where there is too little room and it can be."""
    part = system_of(disk)
    inside = part.filesystem if part else None
    if free_room(disk) >= SMALLEST_ROOT or part is None or inside is None or part.type.upper() != BASIC_DATA:
        return None, 0
    if inside.type != "ntfs" or inside.used_bytes is None:
        return None, 0
    free = part.size * disk.sector_size - max(inside.used_bytes, inside.min_bytes or 0) - RESERVE
    amount = align_down(min(free // 2, free - COMFORT), MIB)
    return (part, amount) if amount >= SMALLEST_ROOT else (None, 0)
