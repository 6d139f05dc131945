"""Rules about changes: any two valid sections can be compared, both ways, and what is said of them makes sense."""

from __future__ import annotations

from collections.abc import Iterator

from attrs import evolve

from bedplate.actions import ByHand, Stage
from bedplate.changes import Change, Cost, differing
from bedplate.comparing.compare import compare
from bedplate.comparing.model import Planned
from bedplate.faults import Rejected
from bedplate.loading.plugin_errors import PluginError
from bedplate.testing import hostile_input
from bedplate.testing.subject import Host, Outcome, Subject, compiled, traced
from bedplate.testing.variants import variants


def changes_can_be_told(about: Subject) -> list[str]:
    """Comparing never crashes; a section does not differ from itself, and one that differs is told of."""
    found: list[str] = []
    broken: dict[str, tuple[str, str]] = {}
    pairs = list(_pairs(about))
    asked = [name for name, old, new in pairs if _value(old, about) != _value(new, about) and _both(old, new, about)]
    if pairs and about.step.changes is not None and not asked:
        found.append("with this one example `changes` was never asked what differs: give a second one")
    for name, old, new in pairs:
        try:
            told = [one.change for one in compare(old, new, about.registry).changes if one.section == about.section]
        except (PluginError, Rejected) as error:
            broken.setdefault(str(error), (name, traced(error) if isinstance(error, PluginError) else ""))
            continue
        if old is new and told:
            found.append(f"{name}: the section is compared with itself, and {told[0].says!r} is said to change")
        if differing(old.actions, new.actions, about.section + ".") and not told:
            found.append(f"{name}: the actions differ, and no change is told")
        found += [f"{name}: {what}" for change in told for what in _poor(change, new)]
    crashes = ("\n".join(filter(None, (f"{name}: {error}", trace))) for error, (name, trace) in broken.items())
    return [*crashes, *dict.fromkeys(found)]


RULES = (changes_can_be_told,)


def _pairs(about: Subject) -> Iterator[tuple[str, Planned, Planned]]:
    """Each machine with itself, with each of its variants, and without the section, both ways."""
    machines = {host.data["machine"]["name"]: _planned(outcome) for host, outcome in about.outcomes}
    for name, planned in machines.items():
        if planned is not None:
            yield name, planned, planned
    trials = [(one.host, one.outcome, f"{one.where} = {one.text!r}") for one in hostile_input.trials(about)]
    others = [(host, outcome, host.name) for host, outcome in about.outcomes]
    for host, outcome, name in (*others, *trials, *variants(about), *_without(about)):
        old, new = machines[host.data["machine"]["name"]], _planned(outcome)
        if old is not None and new is not None and old is not new:
            yield name, old, new
            yield f"{name}, back", new, old


def _without(about: Subject) -> Iterator[tuple[Host, Outcome, str]]:
    """Each machine as it was before the section was first written."""
    if about.missing or about.step.required:
        return
    for host, _ in about.graphs:
        bare = evolve(host, data={name: value for name, value in host.data.items() if name != about.section})
        yield bare, compiled(bare, about.registry), f"{host.name}, without [{about.section}]"


def _value(planned: Planned, about: Subject) -> object:
    return planned.checked.spec.sections.get(about.section)


def _both(old: Planned, new: Planned, about: Subject) -> bool:
    return _value(old, about) is not None and _value(new, about) is not None


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
