"""Rules about changes: any two valid sections can be compared, both ways, and what is said of them makes sense."""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.actions import ByHand, Stage
from bedplate.blame import PluginError
from bedplate.changes import Change, Cost, differing
from bedplate.diff import Planned, compare
from bedplate.faults import Rejected
from bedplate.testing import hostile
from bedplate.testing.subject import Outcome, Subject


def changes_can_be_told(about: Subject) -> list[str]:
    """Comparing never crashes; a section does not differ from itself, and one that differs is told of."""
    found: list[str] = []
    for name, old, new in _pairs(about):
        try:
            told = [one.change for one in compare(old, new, about.registry).told if one.section == about.section]
        except (PluginError, Rejected) as error:
            found.append(f"{name}: {error}")
            continue
        if old is new and told:
            found.append(f"{name}: the section is compared with itself, and {told[0].says!r} is said to change")
        if differing(old.actions, new.actions, about.section + ".") and not told:
            found.append(f"{name}: the actions differ, and no change is told")
        found += [f"{name}: {what}" for change in told for what in _poor(change, new)]
    return list(dict.fromkeys(found))


RULES = (changes_can_be_told,)


def _pairs(about: Subject) -> Iterator[tuple[str, Planned, Planned]]:
    """Each machine with itself, and with each of its variants, both ways."""
    machines = {host.data["machine"]["name"]: _planned(outcome) for host, outcome in about.outcomes}
    for name, planned in machines.items():
        if planned is not None:
            yield name, planned, planned
    variants = [(one.host, one.outcome, f"{one.where} = {one.text!r}") for one in hostile.trials(about)]
    others = [(host, outcome, host.name) for host, outcome in about.outcomes]
    for host, outcome, name in (*others, *variants):
        old, new = machines[host.data["machine"]["name"]], _planned(outcome)
        if old is not None and new is not None and old is not new:
            yield name, old, new
            yield f"{name}, back", new, old


def _planned(outcome: Outcome) -> Planned | None:
    if outcome.checked is None or outcome.graph is None:
        return None
    return Planned(checked=outcome.checked, graph=outcome.graph)


def _poor(change: Change, new: Planned) -> Iterator[str]:
    if not change.says.strip() or "\n" in change.says or change.says.endswith("."):
        yield f"a change is told in one line without a full stop: {change.says!r}"
    if (change.cost is Cost.LOSES_DATA) != bool(change.loses):
        yield f"{change.says!r} must say in `loses` what is lost, if it loses data, and only then"
    for action in change.actions:
        by_hand = action.stage is Stage.FIRST_BOOT and all(isinstance(item, ByHand) for item in action.operations)
        if action.stage is not Stage.TARGET and not by_hand:
            yield f"{action.id} is work on the installed machine: its stage is TARGET, or FIRST_BOOT by hand in the end"
        # What is taken back is not always seen to be gone; going back is repeatable, so a rerun does no harm.
        if action.id in new.actions and action.changes and not action.proofs and not action.stamped:
            yield f"{action.id} changes an installed machine and has no proof"
