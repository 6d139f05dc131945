"""The picture of the install graph. Enters: the stages. Leaves: arcs between rows of an ordered list.

Actions stand one below the other in the order of the work; an arc joins an action to each that it waits for. Arcs that
follow from others are left out (transitive reduction: Aho, Garey and Ullman 1972), so that sixty actions stay legible.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import isqrt

from attrs import frozen

from bedplate.rendering.stage_text import Part

ROW = 30
"""Height of a row."""
GUTTER = 88
"""Width of the room for arcs."""


@frozen(kw_only=True)
class Arc:
    """A curve from the row of the giver to the row of the one that needs it."""

    giver: int
    taker: int
    path: str


@frozen(kw_only=True)
class Picture:
    """Rows are `ROW` high; each stage begins with a row for its title."""

    height: int
    gutter: int
    arcs: tuple[Arc, ...]
    dots: tuple[tuple[int, int], ...]
    """Number of an action and the middle of its row."""


def picture(parts: Iterable[Part]) -> Picture:
    """The arcs of the whole graph."""
    middles: dict[int, int] = {}
    after: dict[int, tuple[int, ...]] = {}
    y = 0
    for part in parts:
        y += ROW if part.actions else 0
        for told in part.actions:
            middles[told.number], after[told.number] = y + ROW // 2, told.after
            y += ROW
    arcs = tuple(_arc(giver, taker, middles) for taker, givers in reduced(after).items() for giver in givers)
    return Picture(height=y, gutter=GUTTER, arcs=arcs, dots=tuple(middles.items()))


def reduced(after: dict[int, tuple[int, ...]]) -> dict[int, tuple[int, ...]]:
    """The same order without the edges that follow from others. Keys come in the order of the work."""
    behind: dict[int, int] = {}
    out: dict[int, tuple[int, ...]] = {}
    for taker, givers in after.items():
        reached = 0
        kept = []
        for giver in sorted(givers, reverse=True):
            if not reached >> giver & 1:
                kept.append(giver)
                reached |= behind[giver] | 1 << giver
        behind[taker], out[taker] = reached, tuple(sorted(kept))
    return out


def _arc(giver: int, taker: int, middles: dict[int, int]) -> Arc:
    """A curve that bulges to the left, further for a longer way."""
    start, end, x = middles[giver], middles[taker], GUTTER - 10
    bulge = min(GUTTER - 16, 4 + isqrt(5 * (end - start)))
    path = f"M{x},{start} C{x - bulge},{start} {x - bulge},{end} {x},{end}"
    return Arc(giver=giver, taker=taker, path=path)
