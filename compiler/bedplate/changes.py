"""Changes of an installed machine: what a step says of two versions of its section, and how they are carried out.

Enters: the actions that install either version. Leaves: `Change` values, with ordinary actions where the work can be
done on the running machine. `amend` makes such an action out of the two that install: the new one's work, guarded by
the old one's proofs, with the old one's work as its way back.
"""

from __future__ import annotations

import enum
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Generic, TypeVar

from attrs import evolve, field, frozen

from bedplate.actions import (
    Action,
    Call,
    Check,
    InTarget,
    Link,
    Operation,
    Run,
    SecretRef,
    Stage,
    WayBack,
    WriteFile,
    walk,
)
from bedplate.conditions import holds
from bedplate.faults import Path
from bedplate.serialize import digest

T = TypeVar("T")

STAMPS = "/var/lib/bedplate/stamps"
"""Where the target keeps its stamps, see `Action.stamped`."""

Actions = Mapping[str, Action]
"""All actions of one install graph, by id."""


class Cost(enum.Enum):
    """What a change takes on an installed machine. The order of the members is from the least to the most."""

    NOTHING = "nothing to do"
    IN_PLACE = "in place"
    NEXT_BOOT = "at next boot"
    LIVE_MEDIUM = "from a live medium"
    LOSES_DATA = "loses data"
    ASK = "ask the step's author"


@frozen(kw_only=True)
class Change:
    """One change, in the words of a technician."""

    says: str
    """One line without a full stop: "user ana joins group dialout"."""
    cost: Cost
    old: Path | None = None
    """Where the value stands in the old section (relative to it); None: nowhere."""
    new: Path | None = None
    """The same in the new section."""
    why: str = ""
    """Why it takes that, and what would do it where it cannot be done in place."""
    loses: str = ""
    """What is lost; only with `LOSES_DATA`."""
    actions: tuple[Action, ...] = ()
    """The work on the installed machine, in the stage TARGET: see `amend`. Several changes may share an action."""
    covers: tuple[str, ...] = ()
    """Ids of further install actions that differ because of this change and take no work of their own."""


@frozen(kw_only=True)
class Paired(Generic[T]):
    """Two arrays of tables matched by a key. Each item with its index in its own array."""

    both: tuple[tuple[int, T, int, T], ...]
    gone: tuple[tuple[int, T], ...]
    made: tuple[tuple[int, T], ...]


def paired(old: Sequence[T], new: Sequence[T], key: str = "name") -> Paired[T]:
    """Match by the attribute `key`; order means nothing. Of two with one key the last counts."""
    before = {getattr(item, key): (index, item) for index, item in enumerate(old)}
    after = {getattr(item, key): (index, item) for index, item in enumerate(new)}
    return Paired(
        both=tuple((*before[name], *after[name]) for name in after if name in before),
        gone=tuple(pair for name, pair in before.items() if name not in after),
        made=tuple(pair for name, pair in after.items() if name not in before),
    )


def differing(old: Actions, new: Actions, prefix: str = "") -> tuple[str, ...]:
    """Ids of the actions that are not the same in both, in the order of NEW, then those only OLD has."""
    ids = [name for name in dict.fromkeys((*new, *old)) if name.startswith(prefix)]
    return tuple(name for name in ids if old.get(name) != new.get(name))


@frozen(kw_only=True)
class Extra:
    """What an amended action does besides what the two install actions say."""

    before: tuple[Operation, ...] = ()
    """Done first. For an action that is gone from the new spec: in place of its own way back."""
    after: tuple[Operation, ...] = ()
    """Done last: what makes the new value take effect on the running machine."""
    proofs: tuple[Check, ...] = ()
    back: tuple[Operation, ...] = ()
    """Done last on the way back."""
    back_first: tuple[Operation, ...] = ()
    """Done first on the way back."""
    needs: tuple[str, ...] = ()
    lost: str = ""
    """What cannot be brought back, as a sentence; the way back is then told and not carried out."""


def amend(old: Actions, new: Actions, *ids: str, extra: Mapping[str, Extra] | None = None) -> tuple[Action, ...]:
    """For each of these install actions that differs, the action that turns the one into the other on the machine."""
    given = extra or {}
    differ = (name for name in dict.fromkeys(ids) if old.get(name) != new.get(name))
    return tuple(_amended(old, new, name, given.get(name, Extra())) for name in differ)


def _amended(old: Actions, new: Actions, name: str, extra: Extra) -> Action:
    before, after = old.get(name), new.get(name)
    whole = _Turn(before=before, after=after, old=old, new=new)
    model = after or before
    assert model is not None
    secret = before is not None and _has_secret(before)
    return Action(
        id=name,
        title=model.title if after else f"Take back: {model.title}",
        reason=model.reason if after else "The new spec no longer asks for it.",
        stage=Stage.TARGET,
        operations=(*extra.before, *whole.forward(instead=bool(extra.before)), *extra.after),
        needs=(*(model.needs if after else _tools(model)), *extra.needs),
        gives=model.gives if after else (),
        guards=_early(whole.proved(before)) if before else model.guards,
        proofs=(*whole.proved(after), *whole.gone(), *extra.proofs),
        way_back=_way_back(whole, extra, secret),
        secrets=model.secrets if after else (),
        cautions=model.cautions if after else (),
        touches=model.touches if after else (),
        expected=model.expected if after else "",
        trouble=model.trouble if after else "",
    )


def _tools(action: Action) -> tuple[str, ...]:
    return tuple(token for token in action.needs if token.startswith("tool:"))


def _way_back(whole: _Turn, extra: Extra, secret: bool) -> WayBack:
    if extra.lost:
        return WayBack(note=extra.lost, possible=False)
    if secret:
        note = "What stood there held a secret, which is not kept: install it anew, or put it back by hand."
        return WayBack(note=note, possible=False)
    if whole.after is not None and whole.before is None and not whole.after.way_back.possible:
        return WayBack(note=whole.after.way_back.note, possible=False)
    backward = whole.backward()
    if whole.before is None and backward == extra.back_first:
        backward = ()
    operations = (*extra.back_first, *backward, *extra.back)
    if whole.after is not None and whole.before is None and not operations:
        return WayBack(note=f"Not taken back on a running machine. {whole.after.way_back.note}", possible=False)
    if whole.before is not None:
        note = f"It is made again as the old spec says: {whole.before.title}."
    elif whole.after is not None and operations == whole.after.way_back.operations:
        note = whole.after.way_back.note
    else:
        note = "What this added is taken away again."
    return WayBack(note=note, operations=operations)


def _early(checks: Iterable[Check]) -> tuple[Check, ...]:
    """The proofs of the old version as guards: everything is tried before the first write."""
    otherwise = "The machine is not what the old spec says here. Find out who changed it, and why, before going on."
    return tuple(evolve(check, early=True, otherwise=check.otherwise or otherwise) for check in checks)


@frozen(kw_only=True)
class _Turn:
    """Both versions of one action, and what has to happen between them."""

    before: Action | None
    after: Action | None
    old: Actions = field(repr=False)
    new: Actions = field(repr=False)

    def forward(self, instead: bool) -> tuple[Operation, ...]:
        """From the old version to the new one; `instead`: the old one's own way back is not wanted."""
        if self.after is None:
            leave = _leave(self.before, None, self.new)
            return () if instead and self.before and leave == self.before.way_back.operations else leave
        return (*_leave(self.before, self.after, self.new), *_work(self.after))

    def backward(self) -> tuple[Operation, ...]:
        """From the new version to the old one."""
        if self.before is None:
            return _leave(self.after, self.before, self.old)
        return (*_leave(self.after, self.before, self.old), *_work(self.before))

    def proved(self, action: Action | None) -> tuple[Check, ...]:
        """What the audit of that version asks of this action."""
        if action is None:
            return ()
        return (*((_stamped(action),) if action.stamped else ()), *action.proofs)

    def gone(self) -> tuple[Check, ...]:
        """That what only the old version brought is gone."""
        paths = tuple(
            holds(f"{path} is gone", "is-gone", InTarget(path), early=False) for path in _only(self.before, self.new)
        )
        units = tuple(
            holds(f"The service {unit} is no longer enabled", "service-disabled", InTarget("/"), unit, early=False)
            for unit in _units(self.before, self.new)
        )
        return (*paths, *units)


def stands_alone(action: Action, there: Actions) -> bool:
    """Whether none of the actions `there` brings a file or a service of this one, so that its way back takes nothing
    of theirs."""
    return _only(action, there) == _only(action, {}) and _units(action, there) == _units(action, {})


def _work(action: Action) -> tuple[Operation, ...]:
    """The action's operations, and its stamp in the form that its audit looks for."""
    if not action.stamped:
        return action.operations
    return (*action.operations, stamp(action))


def stamp(action: Action) -> Call:
    """Write the stamp of an install action, in the form its audit looks for."""
    return Call(verb="put-stamp", args=(action.id, digest(action)))


def _leave(action: Action | None, other: Action | None, there: Actions) -> tuple[Operation, ...]:
    """Take away what `action` brought and none of the actions `there` brings."""
    if action is None:
        return ()
    units = tuple(
        Run(argv=("systemctl", "--root", InTarget("/"), "disable", "--", unit)) for unit in _units(action, there)
    )
    paths = _only(action, there)
    if other is None and not units and not paths:
        return action.way_back.operations if stands_alone(action, there) else ()
    remove = (Run(argv=("rm", "-f", "--", *(InTarget(path) for path in paths))),) if paths else ()
    return (*units, *remove)


def _units(action: Action | None, there: Actions) -> tuple[str, ...]:
    """Units that `action` enables and nothing of `there` does."""
    if action is None:
        return ()
    enabled = {token for one in there.values() for token in one.gives}
    tokens = (token for token in action.gives if token.startswith("service:") and token not in enabled)
    return tuple(token.removeprefix("service:") for token in tokens)


def _only(action: Action | None, there: Actions) -> tuple[str, ...]:
    """Paths in the target that `action` writes and nothing of `there` does; its stamp is one of them."""
    if action is None:
        return ()
    kept = {path for one in there.values() for path in _paths(one)}
    return tuple(dict.fromkeys(path for path in _paths(action) if path not in kept))


def _paths(action: Action) -> Iterator[str]:
    for item in action.operations:
        if isinstance(item, WriteFile | Link) and isinstance(item.path, InTarget):
            yield item.path.path
    for token in action.gives:
        if token.startswith("file:/") and any(isinstance(item, Call) for item in action.operations):
            yield token.removeprefix("file:")
    if action.stamped:
        yield f"{STAMPS}/{action.id}"


def _has_secret(action: Action) -> bool:
    """Whether carrying the action out again would take a secret."""
    return any(isinstance(item, SecretRef) for item in walk(action.operations))


def restamp(old: Action | None, new: Action | None) -> Action | None:
    """For an action that was carried out in another form, with nothing to do for it now: its stamp in the new form.

    None where neither version leaves a stamp, or the two leave the same.
    """
    if new is None or not new.stamped or old is None or not old.stamped or old == new:
        return None
    return Action(
        id=new.id,
        title=f"Note that this holds in its new form: {new.title}",
        reason="Nothing has to be done for it; the audit looks for the stamp of the new spec.",
        stage=Stage.TARGET,
        operations=(stamp(new),),
        proofs=(_stamped(new),),
        guards=_early((_stamped(old),)),
        way_back=WayBack(note="The old stamp is written again.", operations=(stamp(old),)),
    )


def _stamped(action: Action) -> Check:
    return holds("It was carried out in this form", "stamp-is", action.id, digest(action), early=False)
