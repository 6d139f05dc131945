"""Disks with their tables and partitions. Enters: a capture. Leaves: `SurveyedDisk`s by path."""

from __future__ import annotations

import re

from attrs import evolve

from bedplate.regions import free_regions
from bedplate.survey import SurveyedDisk, SurveyedPartition
from bedplate.surveying.capture import blocks, contents, tables
from bedplate.surveying.capture.machine import one_line
from bedplate.surveying.capture.sections import Capture

_KERNEL_SECTOR = 512
"""Bytes the kernel counts in `/sys/block/*/size`, whatever the disk's sector is."""

_OCTAL = re.compile(r"\\([0-7]{3})")


def all_disks(capture: Capture) -> tuple[SurveyedDisk, ...]:
    """Every disk of the capture whose size is known, by path."""
    listed = blocks.rows(capture.data("lsblk"))
    found = (_disk(capture, path, listed.get(path, {}), listed) for path in capture.each("disk"))
    return tuple(sorted((disk for disk in found if disk is not None), key=lambda disk: disk.path))


def _disk(capture: Capture, path: str, row: blocks.Row, listed: dict[str, blocks.Row]) -> SurveyedDisk | None:
    facts = capture.facts("disk", path)
    size = _count(facts.get("size")) or _count(facts.get("blocks")) * _KERNEL_SECTOR
    if not size:
        return None
    sector = _count(facts.get("sector")) or _KERNEL_SECTOR
    bare = SurveyedDisk(
        path=path,
        serial=one_line(str(row.get("serial") or facts.get("serial") or "")),
        model=one_line(str(row.get("model") or facts.get("model") or "")),
        wwn=one_line(str(row.get("wwn") or facts.get("wwn") or "")),
        by_id=tuple(sorted(filter(None, capture.text("by-id", path).split("\n")))),
        transport=one_line(str(row.get("tran") or "")),
        rotational=facts.get("rotational") == "1",
        removable=facts.get("removable") == "1",
        size_bytes=size,
        sector_size=sector,
        physical_sector_size=max(_count(facts.get("physical")), sector),
        content=contents.signature(capture, path).get("TYPE", ""),
        signatures=contents.signatures(capture, path),
    )
    return _with_table(capture, bare, listed)


def _with_table(capture: Capture, disk: SurveyedDisk, listed: dict[str, blocks.Row]) -> SurveyedDisk:
    read = tables.table(capture, disk.path)
    doubts = tables.doubts(capture, disk.path, read, blocks.partitions(listed, disk.path))
    if read is None:
        return evolve(disk, readable=not doubts, faults=doubts)  # type: ignore[misc]
    partitions = tuple(
        _inside(capture, part, node, listed.get(node, {}))
        for part, node in zip(read.partitions, read.nodes, strict=True)
    )
    usable = read.table.last_lba > read.table.first_lba
    return evolve(  # type: ignore[misc]
        disk,
        readable=not doubts,
        table=read.table,
        partitions=partitions,
        free=free_regions(read.table, partitions, disk.sector_size) if usable else (),
        faults=(*doubts, *tables.faults(capture, disk, read)),
    )


def _inside(capture: Capture, part: SurveyedPartition, node: str, row: blocks.Row) -> SurveyedPartition:
    held = filter(None, capture.text("holders", node).split("\n"))
    mounts = tuple(dict.fromkeys([*blocks.mount_points(row), *_mounts(capture, node)]))
    return evolve(  # type: ignore[misc]
        part,
        filesystem=contents.filesystem(capture, node, row, mounted=bool(mounts)),
        mounted_at=mounts,
        holders=tuple(dict.fromkeys([*blocks.holders(row), *held])),
        files=contents.loader_files(capture, node),
    )


def _mounts(capture: Capture, node: str) -> list[str]:
    """Mount points of `node` in /proc/mounts, where blanks are octal (fstab(5)), and swap in /proc/swaps."""
    mounts = (line.split(" ") for line in capture.text("mounts").split("\n"))
    points = [_OCTAL.sub(lambda match: chr(int(match[1], 8)), words[1]) for words in mounts if words[0] == node]
    swaps = (line.split()[:1] for line in capture.text("swaps").split("\n"))
    return points + ["[SWAP]"] * (([node]) in swaps)


def _count(text: str | None) -> int:
    return int(text) if text and text.isascii() and text.isdigit() else 0
