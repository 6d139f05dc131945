"""A new system beside what is on the twenty tables: it lies in a free region and every row stays, or one fault says
why not. sfdisk appends what was planned and reads it back equal."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import TypeVar

import pytest
from attrs import evolve, frozen

from bedplate.compiling import pipeline
from bedplate.facts import LaidPartition, Layout
from bedplate.faults import Rejected
from bedplate.loading import registry
from bedplate.reading import document, validation
from bedplate.spec import Machine
from bedplate.survey import Survey, SurveyedDisk, SurveyedFileSystem, SurveyedMachine
from bedplate.surveying import capture, draft
from bedplate.units import MIB, Rest, parse_size
from bedplate_steps.disk.facts import plan
from bedplate_steps.disk.model import DiskSection, Keep, New

from . import test_real_tables as real
from .test_real_tables import TABLES, Table

T = TypeVar("T")

SPECS = Path(__file__).resolve().parent.parent.parent / "specs"

REFUSED = {
    "01": {"nothing-left"},
    "03": {"too-small"},
    "04": {"table-untrusted", "dynamic-disk"},
    "05": {"nothing-left"},
    "07": {"no-room"},
    "09": {"no-room"},
    "10": {"nothing-left"},
    "11": {"nothing-left"},
    "16": {"table-full"},
    "19": {"nothing-left"},
    "20": {"too-small"},
}
"""Why nothing can be placed, read off the listed regions and rows: no aligned MiB free, a single one, too few for an
EFI system partition, a dynamic disk, or no entry left. All other tables have room for what is asked."""

ROLES = {"esp": "esp", "reserved": "reserved", "recovery": "recovery"}


@frozen(kw_only=True)
class FakeContext:
    """What the disk step needs of a context."""

    machine: Machine
    survey: Survey

    def fact(self, kind: type[T]) -> T:
        raise AssertionError(kind)

    def has(self, kind: type[object]) -> bool:
        return False


def on_the_machine(table: Table) -> SurveyedDisk:
    """The disk with an EFI system partition that has room, as on a machine that starts."""
    disk = real.surveyed(table, real.as_json(table))
    esp = SurveyedFileSystem(type="vfat", free_bytes=60 * MIB)
    parts = (
        evolve(part, filesystem=esp) if part.type == real.DATA["types"]["esp"] else part for part in disk.partitions
    )
    return evolve(disk, serial="SM-TEST-0001", partitions=tuple(parts))


def section(table: Table) -> DiskSection:
    """Keep every row; the first EFI system partition is shared, or a new one is asked for."""
    kinds = {number: kind for number, _, _, kind in table["rows"]}
    first_esp = next((number for number, kind in kinds.items() if kind == "esp"), None)
    keep = tuple(
        Keep(
            name=f"row-{part.number}",
            partition=part.uuid,
            role=ROLES.get(kinds[part.number], "other"),
            mount="/boot/efi" if part.number == first_esp else "",
        )
        for part in on_the_machine(table).partitions
    )
    esp = New(name="esp", size=parse_size("300MiB"), filesystem="vfat", mount="/boot/efi")
    root = New(name="root", size=Rest(), filesystem="ext4", mount="/")
    return DiskSection(serial="SM-TEST-0001", table="keep", keep=keep, new=(root,) if first_esp else (esp, root))


def planned(table: Table) -> Layout:
    survey = Survey(machine=SurveyedMachine(memory_bytes=8 << 30), disks=(on_the_machine(table),))
    return plan(section(table), FakeContext(machine=Machine(name="kelp-02"), survey=survey))


@pytest.mark.parametrize("number", sorted(REFUSED))
def test_what_cannot_be_placed_says_why(number: str) -> None:
    with pytest.raises(Rejected) as caught:
        planned(TABLES[number])
    assert {fault.code for fault in caught.value.faults} == REFUSED[number]
    assert number == "04" or len(caught.value.faults) == 1


@pytest.mark.parametrize("number", sorted(set(TABLES) - set(REFUSED)))
def test_what_is_placed_lies_in_a_free_region_and_moves_nothing(number: str, tmp_path: Path) -> None:
    assert_beside(TABLES[number], planned(TABLES[number]), tmp_path)


def assert_beside(table: Table, layout: Layout, folder: Path) -> None:
    """The new rows lie inside listed free regions, the old ones are as they were, and sfdisk agrees."""
    new = sorted((part for part in layout.partitions if part.new), key=lambda part: part.number)
    grain = MIB // table["sector"]
    assert new
    for part in new:
        assert part.start % grain == part.size % grain == 0
        assert [True for start, end, _ in table["free"] if start <= part.start and part.end <= end] == [True]
    kept = {part.number: (part.start, part.size) for part in layout.partitions if not part.new}
    assert kept == {at: (start, size) for at, start, size, _ in table["rows"]}
    assert read_back(table, new, folder) == sorted(rows_of(layout))


def rows_of(layout: Layout) -> list[tuple[int, int, int, str]]:
    return [(part.number, part.start, part.size, part.type) for part in layout.partitions]


def read_back(table: Table, new: list[LaidPartition], folder: Path) -> list[tuple[int, int, int, str]]:
    """The rows sfdisk shows after it appended the new partitions to the table."""
    image = folder / "disk.img"
    with image.open("wb") as file:
        file.truncate(table["bytes"])
    lines = [f"start={part.start}, size={part.size}, type={part.type}, uuid={part.uuid}" for part in new]
    with real.attached(image, table["sector"]) as node:
        real.write(node, table)
        real.call("sfdisk", "--quiet", "--no-reread", "--append", node, text="\n".join([*lines, ""]))
        verdict = subprocess.run(["sfdisk", "--verify", node], capture_output=True, text=True)
        shown = real.call("sfdisk", "--json", node)
    assert verdict.returncode == 0, verdict.stderr
    disk = real.surveyed(table, shown.replace(node, real.NODE))
    return [(part.number, part.start, part.size, part.type) for part in disk.partitions]


# --- drafts ------------------------------------------------------------------------------------------------------

DRAFT_REFUSED = {
    **REFUSED,
    "04": {"missing-key"},
    "02": {"root-too-small"},
    "06": {"root-too-small"},
    "12": {"root-too-small"},
    "15": {"root-too-small"},
}
"""Why the draft of a table does not hold: as above, and where the largest free region is under 2.5 GiB, the root has
no room for a base system. For a dynamic disk nothing is drafted."""


def checked_draft(number: str) -> pipeline.Checked:
    """The draft for the machine of kelp-02 with the disk of that table, checked against its survey."""
    source = (SPECS / "kelp-02.survey.toml").read_bytes()
    kelp = validation.structure_survey(document.parse("kelp-02.survey.toml", source))
    survey = evolve(kelp, disks=(on_the_machine(TABLES[number]),))
    installed = registry.load()
    steps = {section: own.step for section, own in installed.steps.items()}
    text = draft.draft(survey, steps, name="kelp-02", survey_path="it.survey.toml")
    surveyed = document.parse("it.survey.toml", capture.to_toml(survey).encode())
    return pipeline.check_spec(document.parse("it.toml", text.encode()), installed, lambda file: surveyed)


@pytest.mark.parametrize("number", sorted(DRAFT_REFUSED))
def test_a_draft_that_cannot_hold_says_why(number: str) -> None:
    with pytest.raises(Rejected) as caught:
        checked_draft(number)
    faults = [fault for fault in caught.value.faults if not fault.warning]
    assert {fault.code for fault in faults} == DRAFT_REFUSED[number]
    assert number == "04" or len(faults) == 1
    assert all(fault.place is not None and fault.place.line for fault in faults)


@pytest.mark.parametrize("number", sorted(set(TABLES) - set(DRAFT_REFUSED)))
def test_a_draft_lays_the_new_system_beside_the_old(number: str, tmp_path: Path) -> None:
    checked = checked_draft(number)
    assert_beside(TABLES[number], checked.context.fact(Layout), tmp_path)
    assert pipeline.plan(checked, "it.toml").nodes
