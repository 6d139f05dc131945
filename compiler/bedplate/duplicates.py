"""Twins: one identity in two places of a machine, as a copied disk leaves it. Enters: a survey. Leaves: each identity
that was seen more than once, with its places.

Two members of one array, pool or file system share its identity and differ in their own; the members of a firmware
array show one table. Sources: blkid(8) for UUID_SUB, mdadm(8) and btrfs(5) for members, lvm(8) for groups.
"""

from __future__ import annotations

from collections.abc import Iterator

from attrs import evolve, frozen

from bedplate import storage_layers
from bedplate.survey import Survey, SurveyedDisk, SurveyedFileSystem, SurveyedPartition, SurveyedSignature
from bedplate.units import counted, in_gib

_Seen = tuple[str, str, str, str]
"""What, identity, owner, place: two owners of one identity are twins."""

_NOT_ONE = ("", "00000000", "0x00000000", "00000000-0000-0000-0000-000000000000")
"""What a table or file system without an identity shows."""


@frozen(kw_only=True)
class Duplicate:
    """One identity: what kind of, itself, and every place it was seen at, in words."""

    what: str
    identity: str
    places: tuple[str, ...]
    more: int = 0
    """How many further identities lie on the same disks more than once: of a copied disk, all."""

    @property
    def description(self) -> str:
        """One sentence without its full stop."""
        further = f" (and {counted(self.more, 'other identifier')} of the same disks)" if self.more else ""
        return f"{self.what} {self.identity}{further} is there more than once: {' and '.join(self.places)}"


ADVICE = "A copied disk is plugged in, or two things have one name: switch off and unplug the copy, or give it others."
"""What to do about twins."""


def duplicates(survey: Survey) -> tuple[Duplicate, ...]:
    """Every identity that two places of the machine have, in the order of the survey; of disks that share several, the
    first, and how many more."""
    seen: dict[tuple[str, str], dict[str, tuple[str, str]]] = {}
    for disk in survey.disks:
        member = any(layer.spreads for _, layer in storage_layers.around(disk))
        for what, identity, owner, where in _whole(disk) if member else _of_disk(disk):
            if identity not in _NOT_ONE:
                seen.setdefault((what, identity.upper()), {}).setdefault(owner, (where, disk.path))
    found: dict[tuple[str, ...], Duplicate] = {}
    for (what, identity), owners in seen.items():
        if len(owners) > 1:
            disks = tuple(path for _, path in owners.values())
            twin = Duplicate(what=what, identity=identity, places=tuple(where for where, _ in owners.values()))
            found[disks] = evolve(found[disks], more=found[disks].more + 1) if disks in found else twin
    return tuple(found.values())


def labels(disk: SurveyedDisk) -> Iterator[tuple[str, str, SurveyedPartition | None]]:
    """Every label on the disk with its place in words, and its partition."""
    for signature in disk.signatures:
        if signature.label:
            yield signature.label, place(disk), None
    for part in disk.partitions:
        if part.filesystem is not None and part.filesystem.label:
            yield part.filesystem.label, place(disk, part), part


def place(disk: SurveyedDisk, part: SurveyedPartition | None = None) -> str:
    """Where, in words: `partition 2 of /dev/sda (Example 512, 476.94 GiB, serial X)`."""
    words = [disk.model, in_gib(disk.size_bytes), f"serial {disk.serial}" if disk.serial else ""]
    named = f"{disk.path} ({', '.join(word for word in words if word)})"
    return f"partition {part.number} of {named}" if part else named


def _of_disk(disk: SurveyedDisk) -> Iterator[_Seen]:
    if disk.table is not None:
        yield "disk identifier", disk.table.id.removeprefix("0x"), disk.path, place(disk)
    for part in disk.partitions:
        where = place(disk, part)
        if len(part.uuid) == 36:  # On an older table it is made from the disk's.
            yield "partition GUID", part.uuid, where, where
        if part.filesystem is not None:
            yield from _inside(part.filesystem, part.filesystem.uuid, where)
    yield from _whole(disk)


def _whole(disk: SurveyedDisk) -> Iterator[_Seen]:
    inner = {part.filesystem.uuid for part in disk.partitions if part.filesystem}
    for signature in disk.signatures:
        # The image of a live medium is seen twice, as the disk and as its first partition.
        own = signature.uuid not in inner
        yield from _inside(signature, signature.uuid if own else "", place(disk))


def _inside(found: SurveyedFileSystem | SurveyedSignature, uuid: str, where: str) -> Iterator[_Seen]:
    layer = storage_layers.of_signature(found.type)
    if found.member:
        yield f"member identity ({found.type})", found.member, where, where
        if found.label and layer is not None and layer.spreads:
            yield f"array or pool name ({found.type})", found.label, uuid, where
    elif layer is None or not layer.spreads or found.type == "LVM2_member":
        yield f"UUID ({found.type})", uuid, where, where
    if found.group:
        yield "volume group", found.group, found.group_uuid, where
