"""Twenty tables of real machines: free regions equal the listed ones, and sfdisk reads the tables back equal."""

from __future__ import annotations

import json
import os
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import pytest

from bedplate.regions import aligned_mib, gaps_between
from bedplate.survey import SurveyedDisk
from bedplate.surveying import capture

DATA = tomllib.loads((Path(__file__).resolve().parent / "tables.toml").read_text(encoding="utf-8"))
TABLES = {table["id"]: table for table in DATA["tables"]}
each_table = pytest.mark.parametrize("table", TABLES.values(), ids=TABLES.keys())
Table = dict[str, Any]

NODE = "/dev/sda"
GUID_TAIL = "-0000-4000-8000-000000000007"
HEAD = [34, 2047]
"""What a table that begins at 1 MiB leaves before its first row: the list does not repeat it."""


def rows(table: Table) -> list[tuple[int, int, int, str]]:
    return [(number, start, size, DATA["types"][kind]) for number, start, size, kind in table["rows"]]


def as_json(table: Table) -> str:
    """The table as `sfdisk --json` shows one."""
    partitions = [
        {"node": f"{NODE}{number}", "start": start, "size": size, "type": kind, "uuid": f"{number:08X}{GUID_TAIL}"}
        for number, start, size, kind in rows(table)
    ]
    shown = {
        "label": "gpt",
        "id": "6C1B7E0A-0000-4000-8000-000000000001",
        "device": NODE,
        "unit": "sectors",
        "firstlba": table["first"],
        "lastlba": table["last"],
        "table-length": str(table["length"]),
        "sectorsize": table["sector"],
        "partitions": partitions,
    }
    return json.dumps({"partitiontable": shown})


def surveyed(table: Table, shown: str) -> SurveyedDisk:
    """The disk as a survey shows it that is made from sfdisk's answer `shown`."""
    sections = [
        "bedplate-capture 1",
        f"== disk {NODE}",
        f"| size={table['bytes']}",
        f"| sector={table['sector']}",
        f"== table {NODE}",
        *(f"| {line}" for line in shown.split("\n")),
        "== end",
    ]
    [disk] = capture.survey_from("\n".join(sections)).disks
    return disk


def test_all_twenty_are_there() -> None:
    assert len(TABLES) == 20
    assert {table["sector"] for table in TABLES.values()} == {512, 4096}


@each_table
def test_free_regions_equal_the_listed_ones(table: Table) -> None:
    disk = surveyed(table, as_json(table))
    assert [[free.start, free.end, free.aligned_mib] for free in disk.free] == table["free"]


@each_table
def test_every_free_sector_is_listed(table: Table) -> None:
    """Regions and the gaps under 1 MiB together are all that no row covers."""
    taken = [(start, start + size - 1) for _, start, size, _ in rows(table)]
    found = [list(gap) for gap in gaps_between(table["first"], table["last"], taken)]
    listed = [free[:2] for free in table["free"]] + table["gaps"]
    assert [gap for gap in found if gap != HEAD] == sorted(listed)
    usable = table["last"] - table["first"] + 1
    assert sum(end - start + 1 for start, end in found) + sum(size for _, _, size, _ in rows(table)) == usable


@each_table
def test_dynamic_disks_are_named_and_nothing_else_is_wrong(table: Table) -> None:
    dynamic = [str(number) for number, _, _, kind in table["rows"] if kind.startswith("ldm")]
    found = surveyed(table, as_json(table)).faults
    assert len(found) == bool(dynamic)
    assert all(f"dynamic disks (partition {', '.join(dynamic)})" in fault for fault in found)


@each_table
def test_sfdisk_reads_the_table_back_equal(table: Table, tmp_path: Path) -> None:
    image = tmp_path / "disk.img"
    with image.open("wb") as file:
        file.truncate(table["bytes"])
    with attached(image, table["sector"]) as node:
        write(node, table)
        shown = call("sfdisk", "--json", node)
    disk = surveyed(table, shown.replace(node, NODE))
    assert disk.table is not None
    assert (disk.table.first_lba, disk.table.last_lba, disk.table.length) == (
        table["first"],
        table["last"],
        table["length"],
    )
    assert [(part.number, part.start, part.size, part.type) for part in disk.partitions] == rows(table)
    assert [[free.start, free.end, free.aligned_mib] for free in disk.free] == table["free"]


class attached:
    """The image as something sfdisk takes: itself, or for sectors of 4096 bytes a loop device, which takes root."""

    def __init__(self, image: Path, sector: int) -> None:
        self.image, self.sector, self.node = image, sector, str(image)

    def __enter__(self) -> str:
        if self.sector != 512:
            if os.getuid() != 0 or not Path("/dev/loop-control").exists():
                pytest.skip("sfdisk takes images of 512-byte sectors only; a loop device needs root")
            attach = ("losetup", "--find", "--show", "--sector-size", self.sector, self.image)
            self.node = call(*attach).strip()
        return self.node

    def __exit__(self, *_: object) -> None:
        if self.node != str(self.image):
            call("losetup", "--detach", self.node)


def write(node: str, table: Table) -> None:
    head = ["label: gpt", "unit: sectors", f"first-lba: {table['first']}", f"last-lba: {table['last']}"]
    if table["length"] != 128:
        head.append(f"table-length: {table['length']}")
    body = [f"{number}: start={start}, size={size}, type={kind}" for number, start, size, kind in rows(table)]
    call("sfdisk", "--quiet", "--no-reread", node, text="\n".join([*head, "", *body, ""]))


def call(*argv: object, text: str | None = None) -> str:
    ran = subprocess.run([str(word) for word in argv], input=text, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    return ran.stdout


@pytest.mark.parametrize(
    ("start", "end", "sector", "mib"),
    [
        (2048, 4095, 512, 1),
        (2049, 4095, 512, 0),
        (2048, 4094, 512, 0),
        (34, 65534, 512, 30),
        (256, 511, 4096, 1),
        (6, 255, 4096, 0),
        (6, 511, 4096, 1),
        (2047, 2048, 512, 0),
        (4294967296, 7814037134, 512, 1718295),
    ],
)
def test_alignment_at_its_edges(start: int, end: int, sector: int, mib: int) -> None:
    """Whole MiB between the first and the last 1 MiB border inside the run; common practice, no source."""
    assert aligned_mib(start, end, sector) == mib


@pytest.mark.parametrize(
    ("taken", "gaps"),
    [
        ([], [(10, 20)]),
        ([(10, 20)], []),
        ([(0, 99)], []),
        ([(12, 12)], [(10, 11), (13, 20)]),
        ([(15, 18), (12, 16)], [(10, 11), (19, 20)]),
        ([(12, 18), (13, 14)], [(10, 11), (19, 20)]),
        ([(0, 5), (30, 40)], [(10, 20)]),
        ([(5, 10), (20, 25)], [(11, 19)]),
    ],
)
def test_gaps_between_rows_that_overlap_or_stick_out(taken: list[tuple[int, int]], gaps: list[tuple[int, int]]) -> None:
    assert list(gaps_between(10, 20, taken)) == gaps
