"""What differs between two `[disk]` sections, partition by partition. Enters: both sides. Leaves: changes.

Partitions are compared where they come to lie, not as they are asked for: a size in the spec may move another one.
"""

from __future__ import annotations

from collections.abc import Iterator

from attrs import evolve

from bedplate.actions import Action, Run
from bedplate.changes import Change, Cost, Extra, amend
from bedplate.facts import LaidPartition, Layout
from bedplate.hookspecs import Side
from bedplate.units import in_gib
from bedplate_steps.disk.changes_partitions import GROWABLE, add_actions, grow_actions
from bedplate_steps.disk.changes_swap import swap_file_changes
from bedplate_steps.disk.model import DiskSection

INSTALLING = (
    "disk.append-partitions",
    "disk.make-table",
    "disk.finish-partitions",
    "disk.copies",
    "disk.identify",
    "disk.mount",
    "disk.close",
    "disk.keep-saved-table",
    "disk.check-kept",
    "disk.swap-on",
)
"""Actions that only an installation carries out: the work of a change has its own."""

_HOLDING = ("/home", "/var", "/usr", "/boot", "/boot/efi", "/efi", "/opt", "/root", "/etc")
"""Mount points below which an installed system holds something already."""


def changes(old: Side, new: Side) -> Iterator[Change]:
    """The disk itself, its partitions, swap file, hibernation, what is kept."""
    before, after = old.section, new.section
    assert isinstance(before, DiskSection) and isinstance(after, DiskSection)
    one, other = old.context.fact(Layout), new.context.fact(Layout)
    if (one.serial, one.by_id, one.model) != (other.serial, other.by_id, other.model):
        yield Change(
            says=f"another disk: {other.disk_words} instead of {one.disk_words}",
            cost=Cost.LOSES_DATA,
            old=("serial",),
            new=("serial",),
            loses="nothing on the old disk, but the new one is installed anew and loses what is on it",
            why="The machine is installed anew, from a live medium.",
            covers=INSTALLING,
        )
        return
    yield from _table(before, after)
    yield from _partitions(before, after, old, new)
    yield from _kept(before, after, table(old, new))
    yield from swap_file_changes(before, after, old, new, table(old, new))
    if before.hibernate != after.hibernate:
        yield Change(
            says=f"hibernation is {'on' if after.hibernate else 'off'}",
            cost=Cost.NEXT_BOOT,
            old=("hibernate",),
            new=("hibernate",),
            why="The kernel is told at its start where to resume.",
            covers=INSTALLING,
        )
    if before.other_system != after.other_system:
        yield Change(
            says="the facts of the other system differ",
            cost=Cost.NOTHING,
            old=("other_system",),
            new=("other_system",),
            covers=INSTALLING,
            why="It only concerns a machine that is installed anew.",
        )


def table(old: Side, new: Side) -> tuple[Action, ...]:
    """The table of file systems, and systemd told of it."""
    reload = (Run(argv=("systemctl", "daemon-reload")),)
    return amend(
        old.actions, new.actions, "disk.fstab", "disk.crypttab", extra={"disk.fstab": Extra(after=reload, back=reload)}
    )


def _table(before: DiskSection, after: DiskSection) -> Iterator[Change]:
    if before.table == after.table:
        return
    if after.whole_disk:
        yield Change(
            says="the whole disk is taken",
            cost=Cost.LOSES_DATA,
            old=("table",),
            new=("table",),
            loses="every partition of the disk",
            why="The table is made anew, from a live medium.",
            covers=INSTALLING,
        )
    else:
        yield Change(
            says="the partition table is kept",
            cost=Cost.LIVE_MEDIUM,
            old=("table",),
            new=("table",),
            why="The machine has the table that the old spec made: describe its partitions from a new survey.",
            covers=INSTALLING,
        )


# --- partitions ------------------------------------------------------------------------------------------------------


def _partitions(before: DiskSection, after: DiskSection, old: Side, new: Side) -> Iterator[Change]:
    one, other = old.context.fact(Layout), new.context.fact(Layout)
    was = {part.name: part for part in one.partitions if part.new}
    now = {part.name: part for part in other.partitions if part.new}
    places = {item.name: index for index, item in enumerate(before.new)}
    indices = {item.name: index for index, item in enumerate(after.new)}
    for name, part in now.items():
        path = ("new", indices[name])
        if name not in was:
            yield _added(part, path, old, new)
        elif was[name] != part:
            for change in _differs(was[name], part, old, new):
                yield evolve(change, old=("new", places[name]), new=path)
    for name, part in was.items():
        if name not in now:
            yield Change(
                says=f"partition {name} is removed",
                cost=Cost.LOSES_DATA,
                old=("new", places[name]),
                loses=_holds(part),
                why="Nothing is deleted from a running machine: do it from a live medium, after a backup.",
                covers=_own(name),
            )


def _own(name: str) -> tuple[str, ...]:
    kinds = ("format", "encrypt", "open", "subvolumes")
    return (*(f"disk.{kind}-{name}" for kind in kinds), *INSTALLING, "disk.fstab", "disk.crypttab")


def _holds(part: LaidPartition) -> str:
    points = [volume.mount for volume in part.subvolumes] or ([part.mount] if part.mount else [])
    where = f" ({', '.join(points)})" if points else ""
    return f"everything on the partition {part.name}{where}"


def _added(part: LaidPartition, path: tuple[str | int, ...], old: Side, new: Side) -> Change:
    layout = new.context.fact(Layout)
    size = in_gib(part.size * layout.sector_size)
    what = "swap" if part.filesystem == "swap" else part.filesystem
    says = f"partition {part.name} is made in free space: {size}, {what}" + (f", at {part.mount}" if part.mount else "")
    if part.mapper or part.subvolumes or part.mount in _HOLDING:
        why = (
            "An encrypted container or subvolumes are made from a live medium."
            if part.mount not in _HOLDING
            else f"What lies below {part.mount} now has to be copied over while nobody uses it."
        )
        return Change(says=says, cost=Cost.LIVE_MEDIUM, new=path, why=why, covers=_own(part.name))
    actions = (*add_actions(part, new), *table(old, new))
    return Change(
        says=says,
        cost=Cost.IN_PLACE,
        new=path,
        actions=actions,
        covers=_own(part.name),
        why="Every row of the partition table that is there stays as it is.",
    )


def _differs(was: LaidPartition, now: LaidPartition, old: Side, new: Side) -> Iterator[Change]:
    name, own = now.name, _own(now.name)
    layout = new.context.fact(Layout)
    lost = _holds(was)
    anew = "It is made anew, from a live medium: back it up first, and put everything back after."
    if was.filesystem != now.filesystem:
        yield Change(
            says=f"{name} gets the file system {now.filesystem} instead of {was.filesystem}",
            cost=Cost.LOSES_DATA,
            loses=lost,
            why=anew,
            covers=own,
        )
        return
    if bool(was.mapper) != bool(now.mapper):
        yield Change(
            says=f"{name} is {'encrypted' if now.mapper else 'no longer encrypted'}",
            cost=Cost.LOSES_DATA,
            loses=lost,
            why=anew,
            covers=own,
        )
        return
    one, other = old.context.machine, new.context.machine
    if was.uuid != now.uuid and (one.name, one.generation) == (other.name, other.generation):
        yield Change(says=f"{name} is another partition", cost=Cost.LOSES_DATA, loses=lost, why=anew, covers=own)
        return
    if was.start != now.start:
        yield Change(
            says=f"{name} moves on the disk",
            cost=Cost.LOSES_DATA,
            loses=lost,
            covers=own,
            why="The partitions before it have other sizes. " + anew,
        )
    elif was.size != now.size:
        yield _resized(was, now, layout, new)
    yield from _mounted(was, now, old, new)


def _resized(was: LaidPartition, now: LaidPartition, layout: Layout, new: Side) -> Change:
    one, other = (in_gib(part.size * layout.sector_size) for part in (was, now))
    own = _own(now.name)
    if now.size < was.size:
        return Change(
            says=f"{now.name} shrinks from {one} to {other}",
            cost=Cost.LIVE_MEDIUM,
            covers=own,
            why="No file system is made smaller while it is in use: from a live medium, file system first, "
            "partition after; xfs cannot be made smaller at all.",
        )
    says = f"{now.name} grows from {one} to {other}"
    if now.filesystem not in GROWABLE or now.mapper:
        return Change(
            says=says,
            cost=Cost.LIVE_MEDIUM,
            covers=own,
            why="Its kind does not grow while it is in use: do it from a live medium.",
        )
    return Change(
        says=says,
        cost=Cost.IN_PLACE,
        actions=grow_actions(was, now, layout.sector_size),
        covers=own,
        why=f"{now.filesystem} grows while it is mounted. It cannot be made smaller again.",
    )


def _mounted(was: LaidPartition, now: LaidPartition, old: Side, new: Side) -> Iterator[Change]:
    work, own = table(old, new), _own(now.name)
    if was.mount != now.mount:
        says = f"{now.name} is mounted at {now.mount or 'no place'} instead of {was.mount or 'no place'}"
        holding = now.mount in ("/", *_HOLDING) or was.mount in ("/", *_HOLDING)
        why = "The system itself lives there: from a live medium." if holding else "The folder is made by the mount."
        yield Change(
            says=says,
            cost=Cost.LIVE_MEDIUM if holding else Cost.NEXT_BOOT,
            why=why,
            actions=() if holding else work,
            covers=own,
        )
    if was.options != now.options:
        yield Change(
            says=f"{now.name} is mounted with {_words(now.options)} instead of {_words(was.options)}",
            cost=Cost.NEXT_BOOT,
            actions=work,
            covers=own,
        )
    if was.subvolumes != now.subvolumes:
        yield Change(
            says=f"the subvolumes of {now.name} are others",
            cost=Cost.LIVE_MEDIUM,
            covers=own,
            why="What lies in them has to be moved while nobody uses it.",
        )
    for what, one, other in (("label", was.fs_label, now.fs_label), ("partition type", was.type, now.type)):
        if one != other:
            yield Change(
                says=f"{now.name} has the {what} {other or 'none'} instead of {one or 'none'}",
                cost=Cost.LIVE_MEDIUM,
                covers=own,
                why="It is written while the partition is not in use, from a live medium.",
            )


def _words(options: tuple[str, ...]) -> str:
    return ",".join(options) or "the usual options"


# --- what is kept ----------------------------------------------------------------------------------------------------


def _kept(before: DiskSection, after: DiskSection, work: tuple[Action, ...]) -> Iterator[Change]:
    was = {keep.partition.upper(): (index, keep) for index, keep in enumerate(before.keep)}
    now = {keep.partition.upper(): (index, keep) for index, keep in enumerate(after.keep)}
    for guid, (index, keep) in now.items():
        if guid not in was:
            yield Change(
                says=f"kept partition {keep.name} is described",
                cost=Cost.NOTHING,
                new=("keep", index),
                covers=INSTALLING,
            )
            continue
        place, one = was[guid]
        if one.name != keep.name:
            yield Change(
                says=f"kept partition {one.name} is called {keep.name} (the same partition, {guid})",
                cost=Cost.NOTHING,
                covers=INSTALLING,
                old=("keep", place),
                new=("keep", index),
            )
        if one.shrink_to != keep.shrink_to:
            yield Change(
                says=f"kept partition {keep.name} is to be shrunk to another size",
                cost=Cost.LIVE_MEDIUM,
                why="It is shrunk by hand in the other system, and new partitions are made after that.",
                covers=INSTALLING,
                old=("keep", place),
                new=("keep", index),
            )
        if (one.mount, one.options) != (keep.mount, keep.options):
            yield Change(
                says=f"kept partition {keep.name} is mounted at {keep.mount or 'no place'} with {_words(keep.options)}",
                cost=Cost.NEXT_BOOT,
                covers=INSTALLING,
                actions=work,
                old=("keep", place),
                new=("keep", index),
            )
    for guid, (place, keep) in was.items():
        if guid not in now:
            yield Change(
                says=f"kept partition {keep.name} is no longer described",
                cost=Cost.NOTHING,
                old=("keep", place),
                covers=INSTALLING,
            )
