"""The picture of the disk, before above after. Enters: a `Layout`. Leaves: places and words for the template.

All lengths are in units of the picture. Wide segments are to one scale in both rows; small ones get a least width.
A kept partition is joined by a band from its place before to its place after.
"""

from __future__ import annotations

from attrs import frozen

from bedplate.facts import Layout
from bedplate.rendering import disk_map, disk_segments
from bedplate.rendering.disk_segments import Fate, Segment
from bedplate.rendering.quoting import visible
from bedplate.units import in_gib

_SIGN = 0.58
"""Mean width of a letter in units of its size, for sans-serif type (from measuring, generous)."""


@frozen(kw_only=True)
class Word:
    """A line of text inside a segment."""

    text: str
    y: int
    strong: bool


@frozen(kw_only=True)
class Box:
    """One segment in its place."""

    x: int
    width: int
    segment: Segment
    words: tuple[Word, ...]


@frozen(kw_only=True)
class Row:
    """The disk at one time."""

    title: str
    y: int
    boxes: tuple[Box, ...]


@frozen(kw_only=True)
class Picture:
    """The whole picture."""

    width: int
    height: int
    type_size: int
    box: int
    """Height of a segment."""
    rows: tuple[Row, ...]
    bands: tuple[str, ...]
    """Points of the bands that join kept partitions."""
    fates: tuple[Fate, ...]


def picture(layout: Layout, width: int) -> Picture:
    """The disk drawn in `width` units."""
    size, box, least = (13, 84, 30) if width > 600 else (11, 66, 22)
    given = [("Before", disk_segments.before(layout)), ("After", disk_segments.after(layout))]
    widths = disk_segments.widths([row for _, row in given], width, least)
    shown = [(title, row, wide) for (title, row), wide in zip(given, widths, strict=True) if row]
    step = box + 3 * size + 14
    rows = tuple(
        Row(title=title, y=place * step + size + 8, boxes=_boxes(layout, row, wide, place * step + size + 8, size))
        for place, (title, row, wide) in enumerate(shown)
    )
    return Picture(
        width=max(width, *(sum(wide) for _, _, wide in shown)) if shown else width,
        height=rows[-1].y + box + 2 if rows else 0,
        type_size=size,
        box=box,
        rows=rows,
        bands=tuple(_bands(rows, box)),
        fates=tuple(one for one in Fate if any(item.segment.fate is one for row in rows for item in row.boxes)),
    )


def _boxes(layout: Layout, row: tuple[Segment, ...], wide: list[int], top: int, size: int) -> tuple[Box, ...]:
    boxes, x = [], 0
    for segment, width in zip(row, wide, strict=True):
        boxes.append(Box(x=x, width=width, segment=segment, words=_words(layout, segment, width, top, size)))
        x += width
    return tuple(boxes)


def _words(layout: Layout, segment: Segment, width: int, top: int, size: int) -> tuple[Word, ...]:
    """As many lines as the segment has room for, each only where it fits."""
    part = segment.part
    room = int((width - 10) / (size * _SIGN))
    amount = in_gib(segment.size * layout.sector_size)
    head = f"{part.number} {visible(part.name)}" if part else "free"
    lines = [
        head if len(head) <= room else str(part.number) if part else "",
        next(
            (text for text in (f"{amount} {disk_map.holds(segment)}" if part else amount, amount) if len(text) <= room),
            "",
        ),
        next((text for text in (disk_map.use(segment), segment.fate.value) if text and len(text) <= room), "")
        if part
        else "",
    ]
    shown = [text for text in lines if text]
    return tuple(
        Word(text=text, y=top + (place + 1) * (size + 4) + 1, strong=place == 0) for place, text in enumerate(shown)
    )


def _bands(rows: tuple[Row, ...], box: int) -> list[str]:
    if len(rows) < 2:
        return []
    first, second = rows
    places = {one.segment.part.uuid: one for one in second.boxes if one.segment.part is not None}
    bands = []
    for one in first.boxes:
        part = one.segment.part
        after = places.get(part.uuid) if part is not None and one.segment.fate is Fate.KEPT else None
        if after is not None:
            top, bottom = first.y + box, second.y
            corners = (
                (one.x + 2, top),
                (one.x + one.width - 2, top),
                (after.x + after.width - 2, bottom),
                (after.x + 2, bottom),
            )
            bands.append(" ".join(f"{x},{y}" for x, y in corners))
    return bands
