"""Layout arithmetic: laws on random disks, the faults with their sums, and a campaign that sfdisk reads back.

The campaign takes BEDPLATE_LAYOUT_DISKS random disks (default 60); ten thousand:
    BEDPLATE_LAYOUT_DISKS=10000 python -m pytest tests/test_layout.py -k campaign
"""

from __future__ import annotations

import json
import os
import random
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from attrs import frozen
from hypothesis import given, settings
from hypothesis import strategies as st

from bedplate.faults import Rejected
from bedplate.layout import Placed, Room, Shrink, Wanted, new_table, place, shrink_to, usable
from bedplate.regions import free_regions
from bedplate.survey import FreeRegion, PartitionTable, SurveyedPartition
from bedplate.units import GIB, MIB, Request, Rest, Share, Size, parse_request

DISKS = int(os.environ.get("BEDPLATE_LAYOUT_DISKS", "60"))
LINUX = "0FC63DAF-8483-4772-8E79-3D69D8477DE4"
"""Discoverable Partitions Specification 1.0, generic Linux data."""


def region(mib: int, start: int = 2048, sector: int = 512) -> FreeRegion:
    return FreeRegion(start=start, end=start + mib * (MIB // sector) - 1, aligned_mib=mib)


def room(*mib: int, shrunk: bool = False, numbers: frozenset[int] = frozenset(), length: int = 128) -> Room:
    """Regions of so many MiB, a gap of 1 MiB between them."""
    regions, at = [], 2048
    for size in mib:
        regions.append(region(size, at))
        at = regions[-1].end + 1 + 2048
    return Room(sector_size=512, regions=tuple(regions), shrunk=shrunk, numbers=numbers, length=length)


def want(**sizes: str) -> list[Wanted]:
    return [Wanted(name=name, request=parse_request(text)) for name, text in sizes.items()]


def mib_at(placed: tuple[Placed, ...]) -> dict[str, tuple[int, int]]:
    return {spot.name: (spot.start // 2048, spot.size // 2048) for spot in placed}


# --- what goes where -------------------------------------------------------------------------------------------------


def test_the_order_asked_for_is_the_order_on_the_disk() -> None:
    placed = place(want(root="rest", swap="4GiB"), room(60000))
    assert mib_at(placed) == {"root": (1, 55904), "swap": (55905, 4096)}


def test_sizes_are_rounded_up_and_shares_down_to_whole_mib() -> None:
    placed = place(want(a="1000MB", b="33.3%", c="1B"), room(3001))
    assert [spot.size // 2048 for spot in placed] == [954, 999, 1]
    assert 953 * MIB < 1000 * 1000**2 < 954 * MIB and Fraction("33.3") * 3001 / 100 < 1000


def test_a_share_too_small_to_count_is_one_mib() -> None:
    assert mib_at(place(want(a="1%"), room(10))) == {"a": (1, 1)}


def test_a_share_is_of_the_room_before_anything_is_placed() -> None:
    assert mib_at(place(want(a="50%", b="50%"), room(1000))) == {"a": (1, 500), "b": (501, 500)}


def test_the_first_region_with_room_is_taken_and_rest_takes_the_largest_remainder() -> None:
    placed = place(want(root="rest", boot="100MiB", data="900MiB"), room(129, 2000, 5000))
    assert mib_at(placed) == {"boot": (1, 100), "data": (131, 900), "root": (2132, 5000)}


def test_the_largest_go_first_where_the_order_asked_for_leaves_one_without_room() -> None:
    assert mib_at(place(want(a="8GiB", b="20GiB"), room(20 * 1024, 10 * 1024))) == {
        "a": (20 * 1024 + 2, 8192),
        "b": (1, 20480),
    }


def test_numbers_are_the_lowest_free_ones() -> None:
    placed = place(want(a="1MiB", b="1MiB", c="1MiB"), room(9, numbers=frozenset({1, 3, 4})))
    assert [spot.number for spot in placed] == [2, 5, 6]


# --- what does not fit -----------------------------------------------------------------------------------------------


def refused(wanted: list[Wanted], where: Room) -> tuple[str, str, tuple[str | int, ...]]:
    with pytest.raises(Rejected) as caught:
        place(wanted, where)
    [fault] = caught.value.faults
    return fault.code, fault.message, fault.path


def test_the_sum_is_shown() -> None:
    """60000 MiB are 58.59 GiB: 60000 / 1024 = 58.59375 (IEC 80000-13 prefixes)."""
    assert refused(want(root="64GiB"), room(60000, shrunk=True)) == (
        "no-room",
        "root 64 GiB asked, 58.59 GiB free after the shrink",
        ("new", 0, "size"),
    )
    with pytest.raises(Rejected) as caught:
        place(want(swap="2663MiB", root="56GiB"), room(60000))
    [fault] = caught.value.faults
    assert fault.message == "root 56 GiB asked, 55.99 GiB left"
    assert fault.notes == (
        "asked: swap 2663 + root 57344 = 60007 MiB (58.6 GiB)",
        "free, aligned to 1 MiB: 60000 MiB (58.59 GiB): 60000 at sector 2048",
        "7 MiB too much: make new partitions smaller.",
    )
    with pytest.raises(Rejected) as caught:
        place(want(root="64GiB"), room(60000, 1, shrunk=True))
    assert caught.value.faults[0].notes[-1] == (
        "5536 MiB too much: make new partitions smaller, or shrink the kept system by that much more."
    )
    with pytest.raises(Rejected) as caught:
        place(want(root="30MiB", home="30MiB", srv="15MiB"), room(40, 35))
    assert caught.value.faults[0].notes[-1].startswith("The sum fits, but")


def test_nothing_left_nothing_free_no_entry_and_two_rests() -> None:
    assert refused(want(a="100%", b="rest"), room(10))[0] == "nothing-left"
    assert refused(want(a="1MiB"), room())[:2] == ("no-room", "a 1 MiB asked, 0 B free")
    assert refused(want(a="60%", b="50%"), room(10))[0] == "no-room"
    assert refused(want(a="rest", b="rest"), room(10))[::2] == ("rest-twice", ("new", 1, "size"))
    full = room(10, numbers=frozenset(range(1, 13)), length=12)
    assert refused(want(a="1MiB"), full)[:2] == (
        "table-full",
        "the partition table has 12 entries, 12 are in use, 1 more are asked for",
    )


# --- shrinking -------------------------------------------------------------------------------------------------------


def test_a_shrink_frees_whole_mib() -> None:
    assert shrink_to(2048, 200 * 2048, 100 * MIB, 512) == Shrink(size=100 * 2048, mib=100)
    assert shrink_to(256, 200 * 256, 100 * MIB, 4096) == Shrink(size=100 * 256, mib=100)


@given(st.integers(1, 10**7), st.integers(10**6, 10**9), st.integers(1, 400), st.sampled_from([512, 4096]))
def test_what_a_person_takes_away_is_at_least_what_was_planned(start: int, size: int, mib: int, sector: int) -> None:
    shrink = shrink_to(start, size, size * sector - mib * MIB, sector)
    grain = MIB // sector
    assert (start + shrink.size) % grain == 0
    assert size - shrink.mib * grain <= shrink.size <= size


# --- laws ------------------------------------------------------------------------------------------------------------

requests: st.SearchStrategy[Request] = st.one_of(
    st.integers(1, 8 * GIB).map(lambda count: Size(count, f"{count} B")),
    st.integers(1, 60).map(lambda percent: Share(Fraction(percent), f"{percent}%")),
    st.just(Rest()),
)


@given(
    wanted=st.lists(requests, min_size=1, max_size=6),
    sizes=st.lists(st.integers(1, 20000), max_size=5),
    sector=st.sampled_from([512, 4096]),
    offset=st.integers(0, 4095),
    used=st.frozensets(st.integers(1, 10)),
)
@settings(max_examples=300, deadline=None)
def test_laws_of_placing(
    wanted: list[Request], sizes: list[int], sector: int, offset: int, used: frozenset[int]
) -> None:
    """Placed: aligned, inside one region, apart from one another, in full; or one fault; twice the same."""
    grain, at, regions = MIB // sector, offset, []
    for mib in sizes:
        start = -(-at // grain) * grain
        regions.append(FreeRegion(start=at, end=start + mib * grain - 1, aligned_mib=mib))
        at = start + mib * grain + offset + 1
    where = Room(sector_size=sector, regions=tuple(regions), numbers=used, length=12)
    asked = [Wanted(name=f"p{index}", request=request) for index, request in enumerate(wanted)]
    try:
        placed = place(asked, where)
    except Rejected as rejected:
        assert {fault.code for fault in rejected.faults} <= {"no-room", "nothing-left", "table-full", "rest-twice"}
        return
    assert placed == place(asked, where)
    assert [spot.name for spot in placed] == [one.name for one in asked]
    assert [spot.number for spot in placed] == sorted(set(range(1, 13)) - used)[: len(placed)]
    for spot, one in zip(placed, asked, strict=True):
        assert spot.start % grain == spot.size % grain == 0 and spot.size > 0
        assert any(part.start <= spot.start and spot.start + spot.size - 1 <= part.end for part in regions)
        if isinstance(one.request, Size):
            assert one.request.bytes <= spot.size * sector < one.request.bytes + MIB
    ends = sorted((spot.start, spot.start + spot.size) for spot in placed)
    assert all(before[1] <= after[0] for before, after in pairwise(ends))


@given(sizes=st.lists(st.integers(1, 9000), min_size=1, max_size=6), free=st.integers(1, 30000))
def test_in_one_region_everything_fits_exactly_when_the_sum_does(sizes: list[int], free: int) -> None:
    asked = want(**{f"p{index}": f"{size}MiB" for index, size in enumerate(sizes)})
    try:
        placed = place(asked, room(free))
    except Rejected:
        assert sum(sizes) > free
    else:
        assert sum(spot.size for spot in placed) == sum(sizes) * 2048 <= free * 2048


# --- the campaign ----------------------------------------------------------------------------------------------------


@frozen(kw_only=True)
class Drawn:
    """A random disk: its table with foreign rows, and what is asked of it."""

    size: int
    sector: int
    length: int
    rows: tuple[tuple[int, int, int], ...]
    """Number, start, size."""
    asked: tuple[Wanted, ...]


def draw(seed: int) -> Drawn:
    dice = random.Random(seed)
    sector = dice.choice([512, 512, 4096])
    size = dice.choice([64 * MIB, 900 * MIB, 8 * GIB, 500107862016, 2048 * GIB]) + dice.randrange(0, 64) * sector
    length = dice.choice([128, 128, 128, 12, 64])
    _, last = usable(size, sector)
    first = MIB // sector
    numbers = dice.sample(range(1, length + 1), dice.randrange(0, 7))
    cuts = sorted(dice.sample(range(first, last - 8), 2 * len(numbers)))
    rows = tuple(
        (number, start, end - start) for number, start, end in zip(numbers, cuts[::2], cuts[1::2], strict=True)
    )
    return Drawn(size=size, sector=sector, length=length, rows=rows, asked=tuple(_asked(dice, size)))


def _asked(dice: random.Random, size: int) -> Iterator[Wanted]:
    rest = dice.randrange(0, 5)
    for index in range(dice.randrange(1, 5)):
        fixed = f"{dice.randrange(1, max(2, size // 12))} B"
        text = "rest" if index == rest else dice.choice([fixed, fixed, f"{dice.randrange(1, 25)}%"])
        yield Wanted(name=f"p{index}", request=parse_request(text))


def call(*argv: object, text: str | None = None) -> str:
    ran = subprocess.run([str(word) for word in argv], input=text, capture_output=True, text=True)
    assert ran.returncode == 0, f"{argv}: {ran.stderr}"
    return ran.stdout


@contextmanager
def attached(image: Path, sector: int) -> Iterator[str]:
    """What sfdisk works on: the image itself, or a loop device where sectors are not of 512 bytes."""
    if sector == 512:
        yield str(image)
        return
    node = call("losetup", "--find", "--show", "--sector-size", sector, image).strip()
    try:
        yield node
    finally:
        call("losetup", "--detach", node)


def table_of(node: str, length: int) -> tuple[PartitionTable, tuple[SurveyedPartition, ...]]:
    told: dict[str, Any] = json.loads(call("sfdisk", "--json", node))["partitiontable"]
    table = PartitionTable(label="gpt", first_lba=told["firstlba"], last_lba=told["lastlba"], length=length)
    rows = tuple(
        SurveyedPartition(
            number=int(row["node"].removeprefix(node).lstrip("p")),
            start=row["start"],
            size=row["size"],
            type=row["type"],
            uuid=row["uuid"],
        )
        for row in told.get("partitions", [])
    )
    return table, rows


def as_rows(parts: tuple[SurveyedPartition, ...]) -> set[tuple[int, int, int]]:
    return {(part.number, part.start, part.size) for part in parts}


def test_campaign_what_is_computed_is_what_sfdisk_reads_back(tmp_path: Path) -> None:
    if os.getuid() != 0:
        pytest.skip("sectors of 4096 bytes take a loop device, which takes root")
    placed = 0
    for seed in range(DISKS):
        drawn = draw(seed)
        image = tmp_path / "disk.img"
        with image.open("wb") as file:
            file.truncate(drawn.size)
        with attached(image, drawn.sector) as node:
            placed += one_disk(node, drawn, seed)
    assert placed > DISKS // 2, "most disks have room for something, or the campaign shows nothing"


def one_disk(node: str, drawn: Drawn, seed: int) -> int:
    head = f"label: gpt\ntable-length: {drawn.length}\nunit: sectors\n\n"
    lines = [f"{number}: start={start}, size={size}, type={LINUX}" for number, start, size in drawn.rows]
    call("sfdisk", "--quiet", "--no-reread", "--no-tell-kernel", node, text="\n".join([head, *lines, ""]))
    table, before = table_of(node, drawn.length)
    if drawn.length == 128:
        assert (table.first_lba, table.last_lba) == new_table(drawn.size, drawn.sector), seed
    where = Room(
        sector_size=drawn.sector,
        regions=free_regions(table, before, drawn.sector),
        numbers=frozenset(part.number for part in before),
        length=drawn.length,
    )
    try:
        placed = place(drawn.asked, where)
    except Rejected:
        return 0
    text = "".join(f"start={spot.start}, size={spot.size}, type={LINUX}\n" for spot in placed)
    call("sfdisk", "--quiet", "--no-reread", "--no-tell-kernel", "--append", node, text=text)
    after = table_of(node, drawn.length)[1]
    assert as_rows(before) == set(drawn.rows), seed
    assert as_rows(after) == set(drawn.rows) | {(spot.number, spot.start, spot.size) for spot in placed}, seed
    assert {part.uuid for part in before} <= {part.uuid for part in after}, seed
    return 1
