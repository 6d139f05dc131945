"""The draft of every real table with every kind of content erases nothing: no word for it, no sector of it.

Kinds of content as libblkid names them (`blkid -k`, util-linux 2.38.1). What must hold is a rule of ours: only a
person erases. The tables are those of real machines.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any, TypeVar

import pytest
from attrs import evolve, field, frozen

from bedplate.facts import Layout
from bedplate.faults import Rejected
from bedplate.reading.structuring import structured
from bedplate.spec import Machine
from bedplate.survey import Survey, SurveyedDisk, SurveyedFileSystem, SurveyedMachine, SurveyedSignature
from bedplate.units import GIB, MIB
from bedplate_steps.disk.draft import draft
from bedplate_steps.disk.facts import plan
from bedplate_steps.disk.model import DiskSection

from . import test_real_tables as real
from .test_real_tables import TABLES

T = TypeVar("T")
KINDS = (
    "",
    "ntfs",
    "ext4",
    "crypto_LUKS",
    "LVM2_member",
    "linux_raid_member",
    "isw_raid_member",
    "BitLocker",
    "apfs",
    "zfs_member",
    "btrfs",
    "xfs",
    "swap",
    "bcache",
    "something_new",
)
ESP, RESERVED = "C12A7328-F81F-11D2-BA4B-00A0C93EC93B", "E3C9E316-0B5C-4DB8-817D-F92DF00215AE"


@frozen(kw_only=True)
class Alone:
    """A context with nothing but a machine and a survey."""

    survey: Survey
    machine: Machine = field(factory=lambda: Machine(name="kelp-02"))

    def fact(self, kind: type[T]) -> T:
        raise AssertionError(kind)

    def has(self, kind: type[object]) -> bool:
        return False


def filled(disk: SurveyedDisk, kind: str, used: int | None = None) -> SurveyedDisk:
    """The disk with that content in every row but the EFI system partitions and the reserved ones."""
    parts = []
    for part in disk.partitions:
        esp = SurveyedFileSystem(type="vfat", uuid=f"0217-{part.number:04d}", free_bytes=60 * MIB)
        inside = SurveyedFileSystem(type=kind, uuid=f"{part.number:08d}", used_bytes=used) if kind else None
        inside = None if part.type.upper() == RESERVED else inside
        parts.append(evolve(part, filesystem=esp if part.type.upper() == ESP else inside))
    return evolve(disk, serial="SM-TEST-0001", transport="nvme", readable=True, partitions=tuple(parts))


def assert_nothing_is_erased(disk: SurveyedDisk) -> str:
    """What the draft for a machine with this one disk came to: `planned`, or the codes of what has to be decided."""
    survey = Survey(machine=SurveyedMachine(memory_bytes=8 * GIB), disks=(disk,))
    text = draft(survey, None)
    written = [line for line in text.splitlines() if not line.startswith("#")]
    assert not [line for line in written if re.match(r"erases|removable|table *= *\"new\"", line)], text
    data: dict[str, Any] = tomllib.loads(text)["disk"]
    if "new" not in data:
        return "no plan"
    if "other_system" in data:
        data["other_system"]["recovery_key_place"] = "safe"
    try:
        layout = plan(structured(data, DiskSection), Alone(survey=survey))
    except Rejected as rejected:
        return ", ".join(sorted({fault.code for fault in rejected.faults}))
    assert_disjoint(disk, layout)
    return "planned"


def assert_disjoint(disk: SurveyedDisk, layout: Layout) -> None:
    """Every surveyed row is kept where it lies; what is new lies between them. Only NTFS may be shrunk, by hand."""
    assert disk.table is not None and not layout.whole_disk
    kept = {part.uuid: part for part in layout.partitions if not part.new}
    assert set(kept) == {row.uuid.upper() for row in disk.partitions}
    for row in disk.partitions:
        now = kept[row.uuid.upper()]
        shrunk = (now.shrunk_from, now.filesystem) == (row.size, "ntfs")
        assert now.start == row.start and (shrunk or now.size == row.size)
    for new in (part for part in layout.partitions if part.new):
        assert disk.table.first_lba <= new.start <= new.end <= disk.table.last_lba
        assert not [old for old in kept.values() if new.start <= old.end and old.start <= new.end]


@pytest.mark.parametrize("kind", KINDS, ids=[kind or "nothing-seen" for kind in KINDS])
@pytest.mark.parametrize("number", TABLES)
def test_whatever_lies_in_a_real_table_the_draft_erases_nothing(number: str, kind: str) -> None:
    disk = real.surveyed(TABLES[number], real.as_json(TABLES[number]))
    room = {assert_nothing_is_erased(filled(disk, kind, used)) for used in (None, 1, 30 * GIB)}
    if kind == "ntfs" and number == "02":
        assert "planned" in room  # it has a system that can be shrunk
    signature = SurveyedSignature(type=kind, uuid="1") if kind else None
    whole = evolve(filled(disk, ""), content=kind, signatures=(signature,) if signature else ())
    if kind:
        assert assert_nothing_is_erased(whole) != "planned"
    for transport, removable in (("usb", False), ("sata", True)):
        plugged = evolve(filled(disk, kind), transport=transport, removable=removable)
        assert assert_nothing_is_erased(plugged) == "no plan"


@pytest.mark.parametrize("kind", KINDS, ids=[kind or "nothing-seen" for kind in KINDS])
def test_a_disk_without_a_table_is_left_to_a_person(kind: str) -> None:
    """A blank one, too: it is drafted, and nothing is planned until the words for erasing it are taken over."""
    signature = SurveyedSignature(type=kind, uuid="1") if kind else None
    disk = SurveyedDisk(
        path="/dev/sda",
        serial="SM-TEST-0001",
        size_bytes=500 * GIB,
        readable=True,
        content=kind,
        signatures=(signature,) if signature else (),
    )
    spreads = kind in ("LVM2_member", "linux_raid_member", "isw_raid_member", "zfs_member", "bcache")
    assert assert_nothing_is_erased(disk) == ("no plan" if spreads else "table-undecided")
    assert assert_nothing_is_erased(evolve(disk, readable=False)) == "no plan"
