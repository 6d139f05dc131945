"""Layout arithmetic: where requested partitions come to lie. Pure; knows no step and no file system.

Enters: requests (fixed, shares, `rest`) and the room on a disk. Leaves: start and size of each, in logical sectors.
Starts and ends are multiples of 1 MiB (UEFI specification 5.3.1 endorses physical-block alignment; 1 MiB is what
sfdisk(8) keeps to). Everything is exact integer arithmetic, so the same input gives the same sectors everywhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from attrs import frozen

from bedplate.faults import Fault, Rejected
from bedplate.survey import FreeRegion
from bedplate.units import MIB, Request, Rest, Share, Size, align_up, in_gib

ENTRY_ARRAY = 16384
"""Bytes reserved for the partition entry array, whatever the sector size (UEFI specification 5.3.1)."""


@frozen(kw_only=True)
class Wanted:
    """One partition that is asked for, by its name in the spec."""

    name: str
    request: Request


@frozen(kw_only=True)
class Room:
    """Where partitions may go. `numbers` are the entry numbers in use, `length` how many the table can hold."""

    sector_size: int
    regions: tuple[FreeRegion, ...]
    numbers: frozenset[int] = frozenset()
    length: int = 128
    shrunk: bool = False
    """Whether the regions count on room that a shrink will free: faults then say so."""

    @property
    def mib(self) -> int:
        """Whole aligned MiB in all regions together."""
        return sum(region.aligned_mib for region in self.regions)


@frozen(kw_only=True)
class Placed:
    """One request in its place. `start` and `size` in sectors."""

    name: str
    number: int
    start: int
    size: int


@frozen(kw_only=True)
class Shrink:
    """How much smaller a kept partition becomes. `size` in sectors afterwards (its end is aligned to 1 MiB, and the
    room after it is planned on that), `mib` the whole MiB a person takes away, at least as much as planned."""

    size: int
    mib: int


def usable(size_bytes: int, sector_size: int) -> tuple[int, int]:
    """First and last usable sector of a GPT of 128 entries: the bounds of the UEFI specification, 5.3.1."""
    array = -(-ENTRY_ARRAY // sector_size)
    return 2 + array, size_bytes // sector_size - array - 2


def new_table(size_bytes: int, sector_size: int) -> tuple[int, int]:
    """First and last usable sector of a table that sfdisk makes: it begins at 1 MiB (sfdisk(8), `first-lba`)."""
    first, last = usable(size_bytes, sector_size)
    return max(first, MIB // sector_size), last


def shrink_to(start: int, size: int, target_bytes: int, sector_size: int) -> Shrink:
    """Shrink a partition of `size` sectors at sector `start` to at least `target_bytes`; its end comes to lie on a
    whole MiB."""
    grain, after = MIB // sector_size, start + -(-target_bytes // sector_size)
    return Shrink(size=align_up(after, grain) - start, mib=-(-(start + size - after) // grain))


def mib_of(request: Request, room_mib: int) -> int:
    """Whole MiB a request stands for: sizes are rounded up, shares of `room_mib` down (to 1 at least), `rest` is 0."""
    if isinstance(request, Size):
        return -(-request.bytes // MIB)
    if isinstance(request, Share):
        return max(1, int(room_mib * request.percent / 100))
    return 0


def place(wanted: Sequence[Wanted], room: Room) -> tuple[Placed, ...]:
    """Every wanted partition in its place, in the order asked for.

    A request goes to the first region that still has room for it; if that leaves one without room, the largest are
    placed first. `rest` takes what is left of the region with the most left. Inside a region the order asked for
    holds. Numbers are the lowest free ones in the order asked for, which is what `sfdisk --append` gives.

    Raises Rejected, with paths `("new", INDEX, "size")`, if something does not fit, if the table has no entry left,
    or if `rest` is asked for more than once.
    """
    faults = [*_entry_faults(wanted, room), *_rest_faults(wanted)]
    if faults:
        raise Rejected(faults)
    sizes = [mib_of(want.request, room.mib) for want in wanted]
    region_of = _assign(wanted, sizes, room)
    numbers = _lowest_free(room)
    starts = _starts(sizes, region_of, room)
    grain = MIB // room.sector_size
    return tuple(
        Placed(name=want.name, number=next(numbers), start=starts[index], size=sizes[index] * grain)
        for index, want in enumerate(wanted)
    )


def _entry_faults(wanted: Sequence[Wanted], room: Room) -> Iterable[Fault]:
    left = room.length - len(room.numbers)
    if len(wanted) > left:
        yield Fault(
            code="table-full",
            message=f"the partition table has {room.length} entries, {len(room.numbers)} are in use, "
            f"{len(wanted)} more are asked for",
            path=("new", max(left, 0)),
            allowed=f"at most {left} new partitions",
        )


def _rest_faults(wanted: Sequence[Wanted]) -> Iterable[Fault]:
    rests = [index for index, want in enumerate(wanted) if isinstance(want.request, Rest)]
    for index in rests[1:]:
        yield Fault(
            code="rest-twice",
            message=f"only one partition can take the rest, and {wanted[rests[0]].name} has it already",
            path=("new", index, "size"),
            found='"rest"',
            allowed='"rest" once; elsewhere a size such as "56GiB" or a share such as "25%"',
        )


def _assign(wanted: Sequence[Wanted], sizes: list[int], room: Room) -> list[int]:
    """The region index of every request; fills in the size of `rest`."""
    fixed = [index for index, want in enumerate(wanted) if not isinstance(want.request, Rest)]
    by_size = sorted(fixed, key=lambda index: (-sizes[index], index))
    region_of, left, short = _fit(fixed, sizes, room)
    if short is not None:
        first_short, first_left = short, left
        region_of, left, short = _fit(by_size, sizes, room)
        if short is not None:
            raise Rejected([_no_room(wanted, sizes, first_short, first_left, room)])
    for index, want in enumerate(wanted):
        if isinstance(want.request, Rest):
            if max(left, default=0) == 0:
                raise Rejected([_nothing_left(wanted, sizes, index, room)])
            region_of[index] = left.index(max(left))
            sizes[index] = max(left)
    return [region_of[index] for index in range(len(wanted))]


def _fit(order: Sequence[int], sizes: Sequence[int], room: Room) -> tuple[dict[int, int], list[int], int | None]:
    """First fit in `order`: the region of each index, the MiB left in each region, the index that found no room."""
    left = [region.aligned_mib for region in room.regions]
    region_of: dict[int, int] = {}
    for index in order:
        hit = next((number for number, mib in enumerate(left) if mib >= sizes[index]), None)
        if hit is None:
            return region_of, left, index
        region_of[index] = hit
        left[hit] -= sizes[index]
    return region_of, left, None


def _no_room(wanted: Sequence[Wanted], sizes: Sequence[int], index: int, left: Sequence[int], room: Room) -> Fault:
    word = "free" if sum(left) == room.mib else "left"
    after = " after the shrink" if room.shrunk else ""
    return Fault(
        code="no-room",
        message=f"{wanted[index].name} {in_gib(sizes[index] * MIB)} asked, "
        f"{in_gib(max(left, default=0) * MIB)} {word}{after}",
        path=("new", index, "size"),
        found=f'"{wanted[index].request}"',
        notes=(*_arithmetic(wanted, sizes, room), _way_out(sizes, room)),
    )


def _way_out(sizes: Sequence[int], room: Room) -> str:
    """What to change, and by how much. Of free regions too small for any partition only the largest one counts."""
    free = [region.aligned_mib for region in room.regions]
    least = min((*(size for size in sizes if size), max(free, default=0)))
    lack = sum(sizes) - sum(mib for mib in free if mib >= least)
    if lack <= 0:
        return "The sum fits, but no free region holds all that is asked of it: make this partition smaller."
    more = ", or shrink the kept system by that much more" if room.shrunk else ""
    return f"{lack} MiB too much: make new partitions smaller{more}."


def _nothing_left(wanted: Sequence[Wanted], sizes: Sequence[int], index: int, room: Room) -> Fault:
    return Fault(
        code="nothing-left",
        message=f"nothing is left for {wanted[index].name}",
        path=("new", index, "size"),
        found='"rest"',
        notes=_arithmetic(wanted, sizes, room),
    )


def _arithmetic(wanted: Sequence[Wanted], sizes: Sequence[int], room: Room) -> tuple[str, ...]:
    """What was asked and what is there, in whole MiB, so that a person can redo the sum."""
    named = [f"{want.name} {size}" for want, size in zip(wanted, sizes, strict=True) if size]
    asked = f"asked: {' + '.join(named) or '0'} = {sum(sizes)} MiB ({in_gib(sum(sizes) * MIB)})"
    places = ", ".join(f"{region.aligned_mib} at sector {region.start}" for region in room.regions)
    there = f"free, aligned to 1 MiB: {room.mib} MiB ({in_gib(room.mib * MIB)})"
    return (asked, f"{there}: {places}" if places else there)


def _lowest_free(room: Room) -> Iterator[int]:
    return iter([number for number in range(1, room.length + 1) if number not in room.numbers])


def _starts(sizes: Sequence[int], region_of: Sequence[int], room: Room) -> list[int]:
    grain = MIB // room.sector_size
    cursor = [align_up(region.start, grain) for region in room.regions]
    starts = []
    for size, region in zip(sizes, region_of, strict=True):
        starts.append(cursor[region])
        cursor[region] += size * grain
    return starts
