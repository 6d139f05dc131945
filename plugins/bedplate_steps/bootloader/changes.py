"""What differs between two `[bootloader]` sections. Enters: both sides. Leaves: changes with the work each takes.

Settings and menu are written anew on the running machine. The firmware's own entries and the folder on the EFI system
partition are not: a live medium saves both first and can put them back.
"""

from __future__ import annotations

from collections.abc import Iterator

from attrs import evolve

from bedplate.actions import Action, InTarget, Operation, Run, WayBack
from bedplate.changes import Change, Cost, amend, differing, paired, stamp
from bedplate.conditions import holds
from bedplate.hookspecs import Side
from bedplate_steps.bootloader.model import Bootloader

_SETTINGS, _MENU = "bootloader.settings", "bootloader.menu"
_FIRMWARE = (
    "It changes the firmware's boot entries or the loader's folder on the EFI system partition. Start the live medium, "
    "mount the system and run the loader's actions of the new checklist, which save both first."
)
_BIG = {
    "name": "boot loader folder",
    "loader": "boot loader",
    "fallback": "the loader on the fallback path",
    "secure_boot": "Secure Boot",
    "boot_entry_position": "place in the firmware's boot order",
    "entry_path": "form of the boot entry",
}
_SMALL = {
    "default": "default menu entry",
    "terminal": "loader's terminal",
    "serial_port": "serial port",
    "serial_speed": "serial speed",
}


def changes(old: Side, new: Side) -> Iterator[Change]:
    """Menu, kernel parameters, entries; firmware and loader; what only people read."""
    before, after = old.section, new.section
    assert isinstance(before, Bootloader) and isinstance(after, Bootloader)
    menu = _menu(old, new)
    if before.menu_time != after.menu_time:
        yield _next(f"the menu waits {after.menu_time} s instead of {before.menu_time} s", "menu_time", menu)
    yield from _parameters(before, after, menu)
    for key, words in _SMALL.items():
        one, other = getattr(before, key), getattr(after, key)
        if one != other:
            yield _next(f"{words} {other} replaces {one}", key, menu)
    others = tuple(name for name in differing(old.actions, new.actions, "bootloader.") if name != _SETTINGS)
    yield from (evolve(change, covers=others) for change in _entries(before, after, menu))
    for key, words in _BIG.items():
        one, other = getattr(before, key), getattr(after, key)
        if one != other:
            yield Change(
                says=f"{words}: {_value(other)} instead of {_value(one)}",
                cost=Cost.LIVE_MEDIUM,
                old=(key,),
                new=(key,),
                why=_FIRMWARE,
            )
    one, other = old.context.machine, new.context.machine
    if menu and before == after and (one.name, one.generation) == (other.name, other.generation):
        yield Change(
            says="the boot menu follows what other sections change", cost=Cost.NEXT_BOOT, actions=menu, covers=(_MENU,)
        )
    for key, words in (("medium", "files of the live medium"), ("firmware", "keys of the firmware")):
        if getattr(before, key) != getattr(after, key):
            yield Change(
                says=f"the {words} are others",
                cost=Cost.NOTHING,
                old=(key,),
                new=(key,),
                why="They only stand in the checklist.",
            )


def _menu(old: Side, new: Side) -> tuple[Action, ...]:
    """Settings and menu in one action: the one is nothing without the other, on the way back neither."""
    settings, menu = amend(old.actions, new.actions, _SETTINGS), amend(old.actions, new.actions, _MENU)
    was, now = old.actions.get(_MENU), new.actions.get(_MENU)
    if not settings or was is None or now is None:
        return (*settings, *menu)
    own = settings[0]
    again = tuple(check for action in menu for check in action.proofs)
    made = _path(now)
    there = [path.removeprefix("file:") for path in own.gives][: 1 if made else 0]
    written = tuple(
        holds(
            f"The menu was made after {path} was written",
            "bootloader/made-after",
            InTarget(made),
            InTarget(path),
            early=False,
        )
        for path in there
    )
    forward = menu[0].operations if menu else _work(now)
    backward = menu[0].way_back.operations if menu else _work(was)
    return (
        evolve(
            own,
            title="Write the boot loader's settings and its menu anew",
            needs=(*own.needs, *(token for token in now.needs if token not in own.gives)),
            gives=(*own.gives, *now.gives),
            operations=(*own.operations, *forward),
            guards=(*own.guards, *(check for action in menu for check in action.guards)),
            proofs=(*own.proofs, *again, *written),
            way_back=WayBack(
                note="The old settings are written again, and the menu is made from them.",
                operations=(*own.way_back.operations, *backward),
            ),
            expected=now.expected,
        ),
    )


def _work(action: Action) -> tuple[Operation, ...]:
    return (*action.operations, *((stamp(action),) if action.stamped else ()))


def _path(menu: Action) -> str:
    """The menu's file: what its way back removes; empty if it is more than one, which its proofs read then."""
    words = [word for item in menu.way_back.operations if isinstance(item, Run) for word in item.argv]
    return next((word.path for word in words if isinstance(word, InTarget)), "")


def _next(says: str, key: str, menu: tuple[Action, ...]) -> Change:
    return Change(says=says, cost=Cost.NEXT_BOOT, old=(key,), new=(key,), actions=menu, covers=(_MENU,))


def _parameters(before: Bootloader, after: Bootloader, menu: tuple[Action, ...]) -> Iterator[Change]:
    key = "kernel_parameters"
    for word in after.kernel_parameters:
        if word not in before.kernel_parameters:
            yield _next(f"kernel parameter {word} is added", key, menu)
    for word in before.kernel_parameters:
        if word not in after.kernel_parameters:
            yield _next(f"kernel parameter {word} is dropped", key, menu)


def _entries(before: Bootloader, after: Bootloader, menu: tuple[Action, ...]) -> Iterator[Change]:
    pairs = paired(before.entries, after.entries)
    for index, entry in pairs.made:
        yield Change(
            says=f"menu entry {entry.name} is described by the spec",
            cost=Cost.NEXT_BOOT,
            new=("entries", index),
            actions=menu,
            covers=(_MENU,),
        )
    for index, entry in pairs.gone:
        yield Change(
            says=f"menu entry {entry.name} is no longer described by the spec",
            cost=Cost.NEXT_BOOT,
            old=("entries", index),
            actions=menu,
            covers=(_MENU,),
        )
    for place, one, index, entry in pairs.both:
        if one.title != entry.title:
            says = f'menu entry {entry.name} is called "{entry.title}" instead of "{one.title}"'
            yield Change(
                says=says,
                cost=Cost.NEXT_BOOT,
                old=("entries", place, "title"),
                new=("entries", index, "title"),
                actions=menu,
                covers=(_MENU,),
            )
        if (one.loader, one.partition) != (entry.loader, entry.partition):
            yield Change(
                says=f"menu entry {entry.name} starts {entry.loader or 'what the survey found'}",
                cost=Cost.NEXT_BOOT,
                old=("entries", place),
                new=("entries", index),
                actions=menu,
            )


def _value(value: object) -> str:
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)
