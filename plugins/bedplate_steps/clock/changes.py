"""What differs between two `[clock]` sections. Enters: both sides. Leaves: changes with the work each takes."""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.actions import Action, Run
from bedplate.changes import Change, Cost, Extra, amend
from bedplate.hookspecs import Side
from bedplate_steps.clock.model import Clock

_WORDS = {"utc": "UTC", "local": "local time"}


def changes(old: Side, new: Side) -> Iterator[Change]:
    """Zone, hardware clock, synchronisation, servers."""
    before, after = old.section, new.section
    assert isinstance(before, Clock) and isinstance(after, Clock)
    if before.zone != after.zone:
        yield Change(
            says=f"time zone {after.zone} replaces {before.zone}",
            cost=Cost.IN_PLACE,
            old=("zone",),
            new=("zone",),
            why="Programs that run already keep the old zone until they are started anew.",
            actions=amend(old.actions, new.actions, "clock.zone", "clock.hardware"),
        )
    if before.hardware_clock != after.hardware_clock:
        yield _hardware(before, after, old, new)
    if before.sync != after.sync:
        yield Change(
            says=f"{_sync(after)} replaces {_sync(before)}",
            cost=Cost.IN_PLACE,
            old=("sync",),
            new=("sync",),
            actions=_service(old, new),
        )
    if before.servers != after.servers:
        yield Change(
            says=f"time servers: {_servers(after)} instead of {_servers(before)}",
            cost=Cost.IN_PLACE,
            old=("servers",),
            new=("servers",),
            actions=_service(old, new),
            covers=("clock.live",),
        )


def _hardware(before: Clock, after: Clock, old: Side, new: Side) -> Change:
    other = old.actions.get("clock.other-system") or new.actions.get("clock.other-system")
    return Change(
        says=f"the hardware clock shows {_WORDS[after.hardware_clock]}, no longer {_WORDS[before.hardware_clock]}",
        cost=Cost.IN_PLACE,
        old=("hardware_clock",),
        new=("hardware_clock",),
        why="The other system has to be told as well, by hand: see the checklist of the new spec." if other else "",
        actions=amend(old.actions, new.actions, "clock.hardware"),
        covers=("clock.other-system",),
    )


def _sync(clock: Clock) -> str:
    return "no time synchronisation" if clock.sync == "none" else f"time synchronisation by {clock.sync}"


def _servers(clock: Clock) -> str:
    return ", ".join(clock.servers) or "the package's own"


def _service(old: Side, new: Side) -> tuple[Action, ...]:
    """The new service is started at once; the other one must have let go of the clock before."""
    before, after = _unit(old), _unit(new)
    stop = tuple(Run(argv=("systemctl", "stop", "--", unit)) for unit in (before,) if unit and unit != after)
    start = tuple(Run(argv=("systemctl", "restart", "--", unit)) for unit in (after,) if unit)
    back = tuple(Run(argv=("systemctl", "restart", "--", unit)) for unit in (before,) if unit)
    extra = Extra(before=stop, after=start, back=back)
    return amend(old.actions, new.actions, "clock.sync", extra={"clock.sync": extra})


def _unit(side: Side) -> str:
    action = side.actions.get("clock.sync")
    tokens = (token for token in action.gives if token.startswith("service:")) if action else ()
    return next((token.removeprefix("service:") for token in tokens), "")
