"""The disk before and after as text. Enters: a `Layout`. Leaves: aligned lines, at most about 100 columns."""

from __future__ import annotations

from collections.abc import Sequence

from bedplate.facts import LaidPartition, Layout
from bedplate.renderers.shell import visible
from bedplate.units import in_gib

_HEAD = ("no.", "name", "first sector", "last sector", "size", "holds", "in the new system")


def before(layout: Layout) -> list[str]:
    """What the survey found, and what becomes of it. Empty if nothing was found."""
    staying = {part.uuid: part for part in layout.partitions if not part.new}
    rows = [(*_row(layout, part), _fate(staying.get(part.uuid), layout)) for part in layout.before]
    return _aligned([(*_HEAD[:-1], "what becomes of it"), *rows]) if rows else []


def after(layout: Layout) -> list[str]:
    """What will be on the disk."""
    return _aligned([_HEAD, *((*_row(layout, part), _use(part)) for part in layout.partitions)])


def kept(layout: Layout) -> tuple[LaidPartition, ...]:
    """Partitions that must survive."""
    return tuple(part for part in layout.partitions if not part.new)


def lost(layout: Layout) -> tuple[LaidPartition, ...]:
    """Partitions the survey found and the new table no longer has."""
    staying = {part.uuid for part in kept(layout)}
    return tuple(part for part in layout.before if part.uuid not in staying)


def words(part: LaidPartition, sector_size: int) -> str:
    """One partition in one line: number, name, size, content."""
    holds = f", {part.filesystem}" if part.filesystem else ""
    label = part.gpt_name or part.fs_label
    named = f' "{label}"' if label and label != part.name else ""
    return visible(f"no. {part.number} {part.name}{named}: {in_gib(part.size * sector_size)}{holds}")


def _row(layout: Layout, part: LaidPartition) -> tuple[str, ...]:
    holds = f"{part.filesystem} (encrypted)" if part.mapper else part.filesystem or part.role or "-"
    size = in_gib(part.size * layout.sector_size)
    return (str(part.number), visible(part.name), str(part.start), str(part.end), size, visible(holds))


def _fate(stays: LaidPartition | None, layout: Layout) -> str:
    if stays is None:
        return "ERASED"
    shrunk = f", shrunk to {in_gib(stays.size * layout.sector_size)}" if stays.shrunk_from else ""
    return "kept" + shrunk


def _use(part: LaidPartition) -> str:
    points = [part.mount, *(item.mount for item in part.subvolumes)]
    mounted = ", ".join(dict.fromkeys(point for point in points if point))
    use = mounted or ("swap" if part.filesystem == "swap" else "")
    return visible(", ".join(item for item in ("new" if part.new else "kept", use) if item))


def _aligned(rows: Sequence[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    right = (0, 2, 3, 4)
    return [
        "  ".join(
            cell.rjust(width) if column in right else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
