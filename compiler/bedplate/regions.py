"""Free regions of a partition table: pure sector arithmetic. Enters: a table and its rows. Leaves: regions by start.

Sectors are logical sectors of the disk; usable ones are first-lba..last-lba as the table itself says (UEFI
specification, GPT header fields FirstUsableLBA and LastUsableLBA), never a rule of thumb. Alignment to 1 MiB is
common practice of partitioning tools, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bedplate.survey import FreeRegion, PartitionTable, SurveyedPartition
from bedplate.units import MIB, align_up


def free_regions(
    table: PartitionTable, partitions: Iterable[SurveyedPartition], sector_size: int
) -> tuple[FreeRegion, ...]:
    """The runs of at least 1 MiB that no partition covers. `sector_size` in bytes."""
    smallest = MIB // sector_size
    taken = ((part.start, part.end) for part in partitions)
    return tuple(
        FreeRegion(start=start, end=end, aligned_mib=aligned_mib(start, end, sector_size))
        for start, end in gaps_between(table.first_lba, table.last_lba, taken)
        if end - start + 1 >= smallest
    )


def gaps_between(first: int, last: int, taken: Iterable[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """Every run of one sector or more in `first`..`last` outside the `taken` runs, which may overlap or stick out.

    All ends are inclusive.
    """
    cursor = first
    for start, end in sorted(taken):
        if start > last:
            break
        if start > cursor:
            yield cursor, start - 1
        cursor = max(cursor, end + 1)
    if cursor <= last:
        yield cursor, last


def aligned_mib(start: int, end: int, sector_size: int) -> int:
    """Whole MiB between sectors `start` and `end` (inclusive) when both ends are aligned to 1 MiB of the disk."""
    grain = MIB // sector_size
    return max(0, (end + 1) // grain - align_up(start, grain) // grain)
