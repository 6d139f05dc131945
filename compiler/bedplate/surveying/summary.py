"""What a survey means for the person who took it: a summary, what stands against an installation, what to know.

Enters: a survey. Leaves: sentences, for the terminal and for the head of a draft.
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate import storage_layers
from bedplate.duplicates import ADVICE, duplicates
from bedplate.survey import Survey, SurveyedDisk
from bedplate.units import counted

ARCHITECTURES = ("amd64", "arm64")
"""What a spec can say."""


def summary(survey: Survey) -> str:
    """One line: `1 disk, 4 partitions, 2 network cards; firmware uefi, Secure Boot off`."""
    partitions = sum(len(disk.partitions) for disk in survey.disks)
    counts = [(len(survey.disks), "disk"), (partitions, "partition"), (len(survey.links), "network card")]
    told = ", ".join(counted(number, noun) for number, noun in counts)
    return f"{told}; firmware {survey.firmware.mode}, Secure Boot {survey.firmware.secure_boot}"


def troubles(survey: Survey) -> Iterator[str]:
    """What stands against a spec made from this survey, one sentence each."""
    if survey.machine.architecture not in ARCHITECTURES:
        yield f"the processor or the live system is {survey.machine.architecture}; a spec can say amd64 or arm64."
    if survey.firmware.mode != "uefi":
        yield "the live system was not started by UEFI firmware. Start it again in UEFI mode, survey again."
    if not survey.disks:
        yield "no disk was found, so no spec can be made from this survey."
    for disk in survey.disks:
        if disk.unread:
            yield (
                f"{disk.path} was not read, so nobody knows what is on it. Run the collector as root, with sfdisk and "
                "blkid on the medium, and make the survey anew."
            )
    for twin in duplicates(survey):
        yield f"{twin.description}. {ADVICE}"


def notes(survey: Survey) -> Iterator[str]:
    """What should be known before the survey is trusted, one sentence each."""
    for disk in survey.disks:
        yield from (f"{disk.path}: {fault}" for fault in disk.faults)
        yield from (f"{disk.path}: {sentence}" for sentence in storage_layers.described(disk))
        for part in disk.partitions:
            if part.filesystem is not None and part.filesystem.unclean:
                yield f"{disk.path}: partition {part.number} is not clean: {part.filesystem.unclean}."
        if not named(disk):
            yield f"{disk.path}: this disk has no serial number, no by-id name and no model: it cannot be told apart."
    yield from survey.notes


def named(disk: SurveyedDisk) -> bool:
    """Whether a spec can name the disk in a way that lasts."""
    return bool(disk.serial or disk.by_id or disk.model)
