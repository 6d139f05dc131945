"""The values of a comparison. Made by `compare`, read by reports and by the change graph."""

from __future__ import annotations

from collections.abc import Mapping

from attrs import field, frozen

from bedplate.actions import Action
from bedplate.changes import Change, Cost
from bedplate.compiling.pipeline import Checked
from bedplate.faults import Path, Place
from bedplate.install_graph import InstallGraph


@frozen(kw_only=True, eq=False)
class Planned:
    """One of the two specs, checked, with its install graph."""

    checked: Checked
    graph: InstallGraph

    @property
    def actions(self) -> Mapping[str, Action]:
        """All actions by id."""
        return {node.action.id: node.action for node in self.graph.nodes}

    def place(self, section: str, path: Path | None) -> Place | None:
        """Where a value of that section was written; None where it is not written at all."""
        return None if path is None else self.checked.document.place((section, *path))


@frozen(kw_only=True)
class SectionChange:
    """One change of one section."""

    section: str
    change: Change


BLOCKING = frozenset({Cost.LIVE_MEDIUM, Cost.ASK})
"""What no change script does."""


@frozen(kw_only=True, eq=False)
class Diff:
    """Everything that differs between two specs of one machine."""

    old: Planned
    new: Planned
    changes: tuple[SectionChange, ...]
    quiet: tuple[str, ...] = field(default=())
    """Ids of install actions that differ without anything to do for it."""

    @property
    def cost(self) -> Cost | None:
        """The most that any change takes; None if nothing changes."""
        order = list(Cost)
        return max((one.change.cost for one in self.changes), key=order.index, default=None)

    @property
    def blocking(self) -> tuple[SectionChange, ...]:
        """The changes that cannot be done on the installed machine by a script."""
        return tuple(one for one in self.changes if blocks(one.change))


def blocks(change: Change) -> bool:
    """Whether no script can carry the change out on the installed machine."""
    return change.cost in BLOCKING or (change.cost is Cost.LOSES_DATA and not change.actions)
