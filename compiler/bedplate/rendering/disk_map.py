"""The disk before and after as text. Enters: a `Layout`. Leaves: lines; what matters stands within 80 columns.

First a bar to scale, then a table. Only ASCII signs of our own: the console of a live medium may know no others.
"""

from __future__ import annotations

from collections.abc import Sequence

from bedplate.facts import LaidPartition, Layout
from bedplate.rendering import disk_segments
from bedplate.rendering.disk_segments import Fate, Segment
from bedplate.rendering.quoting import visible
from bedplate.units import in_gib

_HEAD = ("no.", "name", "size", "holds")
_SECTORS = "sectors"
_BAR, _LEAST = 72, 5
_SIGNS = {Fate.KEPT: "=", Fate.NEW: "+", Fate.LOST: "x", Fate.FREE: "."}


def before(layout: Layout) -> list[str]:
    """What the survey found, and what becomes of it. Empty if nothing was found."""
    row = disk_segments.before(layout)
    staying = {part.uuid: part for part in disk_segments.kept(layout)}
    cells = [(*_cells(layout, one), fate(one, staying, layout), _sectors(one)) for one in row]
    return _map(layout, 0, row, (*_HEAD, "what becomes of it", _SECTORS), cells)


def after(layout: Layout) -> list[str]:
    """What will be on the disk."""
    row = disk_segments.after(layout)
    cells = [(*_cells(layout, one), use(one), _sectors(one)) for one in row]
    return _map(layout, 1, row, (*_HEAD, "in the new system", _SECTORS), cells)


def partition_line(part: LaidPartition, sector_size: int) -> str:
    """One partition in one line: number, name, size, content, and a shrink."""
    holds = f", {part.filesystem}" if part.filesystem else ""
    label = part.gpt_name or part.fs_label
    named = f' "{label}"' if label and label != part.name else ""
    shrunk = f", shrunk from {in_gib(part.shrunk_from * sector_size)}" if part.shrunk_from else ""
    return visible(f"no. {part.number} {part.name}{named}: {in_gib(part.size * sector_size)}{holds}{shrunk}")


def holds(segment: Segment) -> str:
    """What is in a segment: its file system, else its role."""
    part = segment.part
    if part is None:
        return "free"
    return visible(f"{part.filesystem} (encrypted)" if part.mapper else part.filesystem or part.role or "-")


def fate(segment: Segment, staying: dict[str, LaidPartition], layout: Layout) -> str:
    """What becomes of a segment that is there before. `staying` are the kept partitions by GUID."""
    if segment.part is None:
        return ""
    stays = staying.get(segment.part.uuid)
    if stays is None:
        return "ERASED"
    return "kept" + (f", shrunk to {in_gib(stays.size * layout.sector_size)}" if stays.shrunk_from else "")


def use(segment: Segment) -> str:
    """What the new system does with a segment."""
    part = segment.part
    if part is None:
        return ""
    points = [part.mount, *(item.mount for item in part.subvolumes)]
    mounted = ", ".join(dict.fromkeys(point for point in points if point))
    said = mounted or ("swap" if part.filesystem == "swap" else "")
    return visible(", ".join(item for item in (segment.fate.value, said) if item))


def _cells(layout: Layout, segment: Segment) -> tuple[str, ...]:
    size, part = in_gib(segment.size * layout.sector_size), segment.part
    return (str(part.number), visible(part.name), size, holds(segment)) if part else ("-", "", size, "free")


def _sectors(segment: Segment) -> str:
    return f"{segment.start} to {segment.end}"


def _map(
    layout: Layout, place: int, row: tuple[Segment, ...], head: tuple[str, ...], cells: list[tuple[str, ...]]
) -> list[str]:
    if not row:
        return []
    wide = disk_segments.widths((disk_segments.before(layout), disk_segments.after(layout)), _BAR, _LEAST)[place]
    bar = "".join(_drawn(segment, width) for segment, width in zip(row, wide, strict=True)) + "|"
    signs = dict.fromkeys(segment.fate for segment in row)
    legend = "   ".join(f"{_SIGNS[one]} {one.value}" for one in Fate if one in signs)
    return [bar, legend, "", *_aligned([head, *cells])]


def _drawn(segment: Segment, width: int) -> str:
    """One segment of the bar: a stroke, its number, its name where there is room, filled with its sign."""
    sign, part = _SIGNS[segment.fate], segment.part
    label = f"{part.number} {visible(part.name)} " if part else "free "
    number = str(part.number) if part else ""
    shown = label if len(label) < width - 1 and label.isascii() else number
    return "|" + shown.ljust(width - 1, sign)


def _aligned(rows: Sequence[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    right = (0, 2)
    return [
        "  ".join(
            cell.rjust(width) if column in right else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
