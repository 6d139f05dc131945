"""Changes of the swap file. Enters: both sides and the work on the table of file systems. Leaves: changes."""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.actions import Action, Call
from bedplate.changes import Change, Cost, Extra, amend
from bedplate.conditions import holds
from bedplate.facts import Layout
from bedplate.hookspecs import Side
from bedplate_steps.disk.emit_mounts import swap_uuid
from bedplate_steps.disk.model import DiskSection, SwapFile

_ID = "disk.swap-file"


def swap_file_changes(
    before: DiskSection, after: DiskSection, old: Side, new: Side, table: tuple[Action, ...]
) -> Iterator[Change]:
    """The swap file is made, removed, or made anew in another size."""
    one, other = before.swap_file, after.swap_file
    if one == other:
        return
    says = (
        f"a swap file {other.path} of {other.size} is made"
        if other and not one
        else f"the swap file {one.path} is removed"
        if one and not other
        else f"the swap file {_words(other)} replaces {_words(one)}"
    )
    back = (Call(verb="disk/swap-file-on", args=(one.path,), by_hand=(f"swapon {one.path}",)),) if one else ()
    extra = Extra(
        before=_off(one, old),
        after=(Call(verb="disk/swap-file-on", args=(other.path,), by_hand=(f"swapon {other.path}",)),) if other else (),
        proofs=(holds(f"{one.path} is gone", "is-gone", one.path, early=False),)
        if one and (other is None or other.path != one.path)
        else (),
        back=back,
        back_first=_off(other, new),
    )
    work = amend(old.actions, new.actions, _ID, extra={_ID: extra})
    yield Change(
        says=says,
        cost=Cost.IN_PLACE,
        old=("swap_file",),
        new=("swap_file",),
        actions=(*work, *table),
        why="What is in the old one has to fit into memory for a moment." if one else "",
    )


def _off(file: SwapFile | None, side: Side) -> tuple[Call, ...]:
    if file is None:
        return ()
    uuid = swap_uuid(file.path, side.context.machine, side.context.fact(Layout))
    by_hand = (f"swapoff {file.path}", f"rm {file.path}")
    return (Call(verb="disk/swap-file-off", args=(file.path, uuid), by_hand=by_hand),)


def _words(file: SwapFile | None) -> str:
    return f"{file.path} of {file.size}" if file else "none"
