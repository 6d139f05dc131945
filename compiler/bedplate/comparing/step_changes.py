"""A step asked for the changes of its section. Enters: the step and both sides. Leaves: its changes, and the ids of
actions that it asked for and neither spec has: they may be misspelt.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from attrs import define, field

from bedplate.actions import Action
from bedplate.changes import Change
from bedplate.comparing.model import Planned
from bedplate.faults import nearest
from bedplate.hookspecs import Side
from bedplate.loading import validate_action
from bedplate.loading.plugin_errors import breach, call, given
from bedplate.loading.registry import InstalledStep


@define(eq=False)
class _Watched(Mapping[str, Action]):
    """Actions by id, and the ids that were asked for in vain."""

    actions: Mapping[str, Action]
    missed: dict[str, None] = field(factory=dict)

    def __getitem__(self, name: str) -> Action:
        if name not in self.actions:
            self.missed[name] = None
        return self.actions[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.actions)

    def __len__(self) -> int:
        return len(self.actions)


def ask(owned: InstalledStep, old: Planned, new: Planned) -> tuple[list[Change], tuple[str, ...]]:
    """The changes, and the unknown ids in the order they were asked for. Raises PluginError."""
    section = owned.step.section
    before, after = _Watched(old.actions), _Watched(new.actions)
    sides = (_side(section, old, before), _side(section, new, after))
    changes = call(owned.origin, f"comparing [{section}]", _given, owned, *sides)
    for change in changes:
        library = new.graph.library
        wrong = next(filter(None, (validate_action.trouble(one, section, library) for one in change.actions)), "")
        if wrong:
            raise breach(owned.origin, wrong)
    return changes, tuple(name for name in after.missed if name in before.missed and isinstance(name, str))


def _side(section: str, planned: Planned, actions: _Watched) -> Side:
    value = planned.checked.spec.sections.get(section)
    return Side(section=value, context=planned.checked.context, actions=actions)


def _given(owned: InstalledStep, old: Side, new: Side) -> list[Change]:
    assert owned.step.changes is not None
    answer = owned.step.changes(old, new)
    return list(given(owned.origin, f"changes of [{owned.step.section}]", answer, Change))


def refuse_misspelt(owned: InstalledStep, unknown: Iterable[str], left: Iterable[str]) -> None:
    """Raise PluginError where an id that neither spec has is nearly that of an action which differs and is not told."""
    start = owned.step.section + "."
    own = [name.removeprefix(start) for name in left if name.startswith(start)]
    for name in unknown:
        near = nearest(name.removeprefix(start), own)
        if near is not None:
            wrong = f"there is no action {name} in either spec (nearest: {start}{near}), and changes asks for it"
            raise breach(owned.origin, wrong)
