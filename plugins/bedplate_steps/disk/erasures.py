"""What a person writes to have a disk erased: everything on it, named as the survey saw it.

Enters: the section and the surveyed disk. Leaves: the lines of `erases`, and faults where the spec has others. Only a
person erases: whatever the survey saw and the spec does not name is not erased, nor the other way round.
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate import storage_layers
from bedplate.faults import Fault, nearest, shown
from bedplate.survey import SurveyedDisk, SurveyedPartition
from bedplate_steps.disk.model import DiskSection

BLANK = "nothing"
"""What stands for a disk that was looked at and holds neither a table nor a signature."""


def seen(disk: SurveyedDisk) -> tuple[str, ...]:
    """Everything on the disk, one line each: table, what lies on the disk itself, partitions."""
    table = [f"table {disk.table.label} {disk.table.id}".rstrip()] if disk.table else []
    whole = [f"disk {words}" for words in disk_contents(disk)]
    return (*table, *whole, *map(_row, disk.partitions)) or (BLANK,)


def disk_contents(disk: SurveyedDisk) -> tuple[str, ...]:
    """What lies on the disk itself, outside of partitions: `TYPE UUID` as wipefs(8) tells."""
    told = [f"{each.type} {each.uuid}".rstrip() for each in disk.signatures if each.type not in storage_layers.TABLES]
    bare = [disk.content] if disk.content and disk.content not in {words.split(" ")[0] for words in told} else []
    return tuple(dict.fromkeys((*bare, *told)))


def contents(part: SurveyedPartition) -> str:
    """`TYPE UUID` as blkid(8) tells, or empty where the survey saw no signature."""
    inside = part.filesystem
    return f"{inside.type} {inside.uuid}".rstrip() if inside else ""


def _row(part: SurveyedPartition) -> str:
    name = f"partition {part.number} {part.uuid}".rstrip()
    return f"{name}: {contents(part) or 'no signature seen'}"


def written(disk: SurveyedDisk) -> tuple[str, ...]:
    """The lines of TOML with which a person has this disk erased, ready to copy."""
    lines = [_quoted(line) for line in seen(disk)]
    if len(lines) == 1:
        return ('table = "new"', f"erases = [{lines[0]}]")
    return ('table = "new"', "erases = [", *(f"    {line}," for line in lines), "]")


def _quoted(line: str) -> str:
    return '"' + line.replace("\\", "\\\\").replace('"', '\\"') + '"'


def erase_faults(section: DiskSection, disk: SurveyedDisk) -> Iterator[Fault]:
    """Whether somebody has decided what becomes of what is on the disk, and names what is lost."""
    if not section.table:
        yield _undecided(disk)
    elif not section.whole_disk:
        if section.erases:
            yield Fault(
                code="erases-and-keep",
                message="nothing is erased where the partition table is kept",
                path=("erases",),
                allowed='no erases, or table = "new"',
            )
    elif not section.erases:
        yield Fault(
            code="erases-missing",
            message="what is erased has to be named, as the survey saw it",
            path=("table",),
            found='"new"',
            allowed='table = "keep", or erases with everything that is on the disk',
            notes=to_erase(disk),
        )
    else:
        yield from _differs(section, disk)


def _undecided(disk: SurveyedDisk) -> Fault:
    gpt = disk.table is not None and disk.table.label == "gpt"
    return Fault(
        code="table-undecided",
        message="nobody has decided what becomes of what is on this disk",
        allowed='table = "keep" with a [[disk.keep]] for each partition, or "new"' if gpt else '"new"',
        notes=to_erase(disk),
    )


def to_erase(disk: SurveyedDisk) -> tuple[str, ...]:
    """What has to be written to have the disk erased, for a person to copy."""
    lost = "The survey saw nothing on it." if seen(disk) == (BLANK,) else "All of this is LOST then, for good."
    return (f"To have the whole disk erased, write this into [disk]. {lost}", *(f"  {at}" for at in written(disk)))


def _differs(section: DiskSection, disk: SurveyedDisk) -> Iterator[Fault]:
    named = {line.casefold() for line in section.erases}
    missing = [line for line in seen(disk) if line.casefold() not in named]
    known = {line.casefold() for line in seen(disk)}
    for index, line in enumerate(section.erases):
        if line.casefold() in known:
            continue
        near = nearest(line, missing)
        missing = [other for other in missing if other != near]
        yield Fault(
            code="erases-not-seen",
            message="the survey saw no such thing on this disk",
            path=("erases", index),
            found=shown(line, 100),
            allowed="what the survey saw, in its words",
            nearest=near,
            notes=("If the disk has changed since the spec was written, look at it again before all of it goes.",),
        )
    if missing:
        yield Fault(
            code="erases-incomplete",
            message=f"the survey saw more on this disk: {'; '.join(missing)}",
            path=("erases",),
            allowed='everything that is on the disk, or table = "keep"',
            notes=to_erase(disk),
        )
