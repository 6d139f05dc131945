"""The disk as a row of segments, before and after. Enters: a `Layout`. Leaves: segments, and widths to draw them with.

Text map and picture are drawn from the same segments. Sectors are logical sectors of the disk.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence

from attrs import frozen

from bedplate.facts import LaidPartition, Layout
from bedplate.regions import gaps_between
from bedplate.units import MIB

_GAP = 16 * MIB
"""Smaller gaps come from alignment and hold nothing, bytes (common practice, no source)."""


class Fate(enum.Enum):
    """What becomes of a segment. The value is the word a person reads."""

    KEPT = "kept"
    NEW = "new"
    LOST = "erased"
    FREE = "free"


@frozen(kw_only=True)
class Segment:
    """A partition or a run of free sectors."""

    fate: Fate
    start: int
    size: int
    part: LaidPartition | None = None

    @property
    def end(self) -> int:
        """The last sector, inclusive."""
        return self.start + self.size - 1


def before(layout: Layout) -> tuple[Segment, ...]:
    """What the survey found, free space included. Empty if it found no partition."""
    staying = {part.uuid for part in kept(layout)}
    parts = [(part, Fate.KEPT if part.uuid in staying else Fate.LOST) for part in layout.before]
    return _row(layout, parts) if parts else ()


def after(layout: Layout) -> tuple[Segment, ...]:
    """What will be on the disk, free space included."""
    return _row(layout, [(part, Fate.NEW if part.new else Fate.KEPT) for part in layout.partitions])


def kept(layout: Layout) -> tuple[LaidPartition, ...]:
    """Partitions that must survive."""
    return tuple(part for part in layout.partitions if not part.new)


def lost(layout: Layout) -> tuple[LaidPartition, ...]:
    """Partitions the survey found and the new table no longer has."""
    staying = {part.uuid for part in kept(layout)}
    return tuple(part for part in layout.before if part.uuid not in staying)


def _row(layout: Layout, parts: Sequence[tuple[LaidPartition, Fate]]) -> tuple[Segment, ...]:
    """Partitions and the gaps between them that are worth a look, by start sector."""
    segments = [Segment(fate=fate, start=part.start, size=part.size, part=part) for part, fate in parts]
    taken = [(part.start, part.end) for part, _ in parts]
    gaps = (
        Segment(fate=Fate.FREE, start=start, size=end - start + 1)
        for start, end in gaps_between(layout.first_lba, layout.last_lba, taken)
    )
    wide = (gap for gap in gaps if gap.size * layout.sector_size >= _GAP)
    return tuple(sorted((*segments, *wide), key=lambda segment: segment.start))


# --- widths ------------------------------------------------------------------------------------------------------


def widths(rows: Sequence[Sequence[Segment]], room: int, least: int) -> list[list[int]]:
    """Whole-numbered widths of each row's segments that fill `room`, none below `least`.

    Segments above `least` are to one scale in all rows, where the rows are of about one size; what is left over goes
    to the small ones, which are not to scale anyway. Where even the least widths need more than `room`, they get it.
    """
    filled = [[segment.size for segment in row] for row in rows if row]
    if not filled:
        return [[] for _ in rows]
    room = max(room, *(least * len(sizes) for sizes in filled))
    scale = min((_scale(sizes, room, least) for sizes in filled), key=lambda one: one[0] / one[1])
    return [_fill([segment.size for segment in row], room, least, scale) if row else [] for row in rows]


def _scale(sizes: Sequence[int], room: int, least: int) -> tuple[int, int]:
    """Width for how many sectors: the scale of what is wider than `least` in this row alone."""
    large = list(sizes)
    while True:
        span, total = room - least * (len(sizes) - len(large)), sum(large) or 1
        still = [size for size in large if size * span >= least * total]
        if len(still) == len(large):
            return max(span, 0), total
        large = still


def _fill(sizes: Sequence[int], room: int, least: int, scale: tuple[int, int]) -> list[int]:
    """The widths of one row, to the given scale if they nearly fill the room, else to the row's own."""
    drawn = _drawn(sizes, least, scale)
    if room - sum(drawn) > least * len(sizes):
        drawn = _drawn(sizes, least, _scale(sizes, room, least))
    _spend(drawn, sizes, room - sum(drawn), least)
    return drawn


def _drawn(sizes: Sequence[int], least: int, scale: tuple[int, int]) -> list[int]:
    return [max(least, size * scale[0] // scale[1]) for size in sizes]


def _spend(drawn: list[int], sizes: Sequence[int], spare: int, least: int) -> None:
    """Give the spare room to the small segments, none becoming wider than a large one, and the rest to the largest."""
    small = [index for index, width in enumerate(drawn) if width == least]
    limit = min((width for width in drawn if width > least), default=least) - least
    share = min(limit, spare // len(small)) if small else 0
    for index in small:
        drawn[index] += share
    drawn[max(range(len(sizes)), key=lambda index: sizes[index])] += spare - share * len(small)
