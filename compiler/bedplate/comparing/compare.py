"""The comparison. Enters: two planned specs and the registry. Leaves: a `Diff`.

Steps tell their sections' changes in words. Whatever actions then still differ are looked at one by one, so that no
difference between the two graphs goes unsaid; and where the graphs are equal, nothing is said at all.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from attrs import evolve

from bedplate.actions import Action, Stage
from bedplate.changes import Actions, Change, Cost, amend, differing
from bedplate.comparing import added_or_removed as absent_section
from bedplate.comparing import frame_changes, value_changes
from bedplate.comparing.model import Diff, Planned, SectionChange, blocks
from bedplate.comparing.step_changes import ask, refuse_misspelt
from bedplate.loading.registry import Registry


def compare(old: Planned, new: Planned, registry: Registry) -> Diff:
    """All changes, section by section in the order of the new spec. Raises PluginError for a step that breaks."""
    before, after = old.actions, new.actions
    differ = differing(before, after)
    if not differ and old.graph.machine == new.graph.machine:
        return Diff(old=old, new=new, changes=())
    told = list(frame_changes.changes(old, new))
    anew = any(blocks(one.change) for one in told)
    unknown: dict[str, tuple[str, ...]] = {}
    for section in _sections(old, new):
        changes, unknown[section] = _changes(section, old, new, registry)
        told += (SectionChange(section=section, change=change) for change in changes)
    if anew:
        told = [_anew(one) for one in told]
    rest = _uncovered(differ, told)
    for section, names in unknown.items():
        refuse_misspelt(registry.steps[section], names, () if anew else rest)
    if not any(blocks(one.change) for one in told):  # else the machine is installed anew anyway
        told += _consequences(rest, old, new)
        told += _unaccounted(_uncovered(differ, told), old, new)
    rest = _uncovered(differ, told)
    told += () if told else _installing_only(rest, old, new)
    return Diff(old=old, new=new, changes=tuple(told), quiet=rest)


def _sections(old: Planned, new: Planned) -> Iterable[str]:
    return dict.fromkeys((*new.checked.spec.sections, *old.checked.spec.sections))


def _anew(one: SectionChange) -> SectionChange:
    """With a machine that is installed anew nothing else is done in place."""
    if one.section == frame_changes.SECTION:
        return one
    return evolve(one, change=evolve(one.change, actions=(), covers=(*one.change.covers, *_ids(one.change))))


def _ids(change: Change) -> tuple[str, ...]:
    return tuple(action.id for action in change.actions)


def _uncovered(differ: Iterable[str], told: Iterable[SectionChange]) -> tuple[str, ...]:
    covered = {name for one in told for name in (*_ids(one.change), *one.change.covers)}
    return tuple(name for name in differ if name not in covered)


# --- one section -----------------------------------------------------------------------------------------------------


def _changes(section: str, old: Planned, new: Planned, registry: Registry) -> tuple[list[Change], tuple[str, ...]]:
    """The changes of one section, and ids that its step asked for in vain."""
    one, other = old.checked.spec.sections.get(section), new.checked.spec.sections.get(section)
    owned = registry.steps[section]
    absent = one is None or other is None
    if absent and not (owned.step.changes and owned.step.comes_and_goes):
        return [(absent_section.comes if one is None else absent_section.goes)(section, old.actions, new.actions)], ()
    if owned.step.changes is None:
        return list(_unsupported(section, old, new)), ()
    return ask(owned, old, new)


def _unsupported(section: str, old: Planned, new: Planned) -> Iterator[Change]:
    """The values that differ, and the actions, of a section whose step does not say what a change takes."""
    ids = differing(old.actions, new.actions, section + ".")
    why = "The step of this section does not say how it is changed on an installed machine: ask its author."
    cost = Cost.ASK if ids else Cost.NOTHING
    values = (planned.checked.document.data.get(section, {}) for planned in (old, new))
    for says, old_path, new_path in value_changes.differences(*values):
        yield Change(says=says, cost=cost, old=old_path, new=new_path, why=why if ids else "", covers=ids)
    for name in ids:
        yield Change(says=_action_words(name, old.actions, new.actions), cost=Cost.ASK, why=why, covers=(name,))


def _action_words(name: str, old: Actions, new: Actions) -> str:
    action = new.get(name) or old[name]
    how = "is done differently" if name in old and name in new else "is new" if name in new else "is no longer done"
    return f'the action "{action.title}" {how}'


# --- what no step has told -------------------------------------------------------------------------------------------


def _consequences(rest: Iterable[str], old: Planned, new: Planned) -> Iterator[SectionChange]:
    """Work in the target that a change elsewhere brings about."""
    for name in rest:
        before, after = old.actions.get(name), new.actions.get(name)
        if _lasts(after or before) and not _same_work(before, after):
            says = _action_words(name, old.actions, new.actions)
            section = _section(name)
            sections = [planned.checked.spec.sections.get(section) for planned in (old, new)]
            where = "another section" if sections[0] == sections[1] else "this section"
            change = Change(
                says=says,
                cost=Cost.IN_PLACE,
                why=f"It follows from a change in {where}.",
                actions=amend(old.actions, new.actions, name),
            )
            yield SectionChange(section=section, change=change)


def _unaccounted(rest: Iterable[str], old: Planned, new: Planned) -> Iterator[SectionChange]:
    """Work whose outcome stays on the machine and differs, and of which nobody has said what that takes."""
    for name in rest:
        before, after = old.actions.get(name), new.actions.get(name)
        if any(one is not None and one.changes and not one.transient for one in (before, after)) and (
            _outcome(before) != _outcome(after)
        ):
            says = _action_words(name, old.actions, new.actions)
            why = "The step does not say what that takes on an installed machine: ask its author."
            yield SectionChange(
                section=_section(name), change=Change(says=says, cost=Cost.ASK, why=why, covers=(name,))
            )


def _outcome(action: Action | None) -> tuple[object, ...]:
    """What the audit would find of it."""
    return (action.gives, action.proofs) if action else ()


def _section(name: str) -> str:
    return name.partition(".")[0]


def _lasts(action: Action | None) -> bool:
    return action is not None and action.stage is Stage.TARGET and action.changes and not action.transient


def _same_work(old: Action | None, new: Action | None) -> bool:
    """Whether nothing differs but words, needs and what only an installation asks for."""
    if old is None or new is None:
        return False
    return (old.operations, old.proofs, old.gives) == (new.operations, new.proofs, new.gives)


def _installing_only(rest: Iterable[str], old: Planned, new: Planned) -> Iterator[SectionChange]:
    """The graphs differ, but in nothing that stays on the machine."""
    for name in rest:
        change = Change(
            says=_action_words(name, old.actions, new.actions),
            cost=Cost.NOTHING,
            covers=(name,),
            why="It only concerns a machine that is installed anew.",
        )
        yield SectionChange(section=_section(name), change=change)
