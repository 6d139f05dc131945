"""The change as a second graph. Enters: a `Diff`. Leaves: a `ChangeGraph`.

What the installed machine has already, nobody need give: needs that either spec's own graph meets fall away.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from attrs import evolve

from bedplate.actions import Action, ByHand, Call, Milestone, Stage, WayBack, token_kind
from bedplate.changes import Cost, restamp
from bedplate.comparing.model import Diff, SectionChange, blocks
from bedplate.comparing.retarget import retarget
from bedplate.facts import LaidPartition, Layout
from bedplate.faults import Fault, Rejected
from bedplate.install_graph import ChangeGraph
from bedplate.linking.link import Owned, link

RESTART = "change.restart"
"""The id of the last action, where a change takes effect only at the next start."""


def change_graph(diff: Diff, *, partly: bool = False) -> ChangeGraph:
    """The ordered work. Raises Rejected naming every change that cannot be done on the installed machine, unless
    `partly`: then they are its `left_out`.
    """
    undone = [_undone(one, diff, partly) for one in diff.blocking]
    if undone and not partly:
        raise Rejected(undone)
    found = _collected(diff)
    nodes, tools = link([_owned(action, diff) for action in _settled(found, diff)])
    graph = diff.new.graph
    return ChangeGraph(
        spec_file=graph.spec_file,
        old_spec_file=diff.old.graph.spec_file,
        done=tuple(one.change.says for one in diff.changes if not blocks(one.change)),
        machine=graph.machine,
        survey=graph.survey,
        nodes=nodes,
        tools=tools,
        facts=_facts(diff),
        library=graph.library,
        left_out=tuple(undone),
        source_files=graph.source_files,
    )


def _undone(one: SectionChange, diff: Diff, warning: bool) -> Fault:
    change = one.change
    place = diff.new.place(one.section, change.new) or diff.old.place(one.section, change.old)
    notes = tuple(note for note in (f"Lost would be {change.loses}." if change.loses else "", change.why) if note)
    return Fault(
        code="not-in-place",
        message=f"{change.says}: {change.cost.value}, not by a change script",
        path=(one.section, *(change.new or change.old or ())),
        place=place,
        notes=notes,
        warning=warning,
    )


def _collected(diff: Diff) -> dict[str, Action]:
    """All actions by id, those of one id being the same; and the stamps of what differs in its words only."""
    found: dict[str, Action] = {}
    for one in diff.changes:
        for action in one.change.actions:
            other = found.setdefault(action.id, action)
            if other != action:
                message = f"two changes want {action.id} done in different ways"
                raise Rejected([Fault(code="two-ways", message=message, path=(one.section,))])
    done = [one.change for one in diff.changes if not blocks(one.change)]
    covered = (name for change in done for name in change.covers if name not in set(_stamps(found.values())))
    quiet = () if diff.blocking else diff.quiet  # what is left out may be why they differ
    for name in dict.fromkeys((*quiet, *covered)):
        again = restamp(diff.old.actions.get(name), diff.new.actions.get(name))
        if again is not None:
            found.setdefault(name, again)
    return found


def _stamps(actions: Iterable[Action]) -> Iterator[str]:
    """Ids of the install actions whose stamps these write."""
    for action in actions:
        for item in action.operations:
            if isinstance(item, Call) and item.verb == "put-stamp":
                yield str(item.args[0])


def _settled(found: Mapping[str, Action], diff: Diff) -> Iterator[Action]:
    """What is gone is taken back first, the last first; then the order of the new spec."""
    actions = {**diff.old.actions, **diff.new.actions}
    installed = {token for action in actions.values() for token in action.gives}
    gone = [name for name in reversed(tuple(diff.old.actions)) if name not in diff.new.actions]
    order = [name for name in (*gone, *diff.new.actions, *diff.old.actions, *found) if name in found]
    chosen = [found[name] for name in dict.fromkeys(order)]
    chosen += [_restart(diff)] if any(one.change.cost is Cost.NEXT_BOOT for one in diff.changes) else []
    given = {token for action in chosen for token in action.gives}
    for action in chosen:
        yield retarget(evolve(action, needs=tuple(_needs(action, given, installed))))


def _needs(action: Action, given: Iterable[str], installed: Iterable[str]) -> Iterator[str]:
    for token in action.needs:
        if token in given or token_kind(token) == "stage" or token not in installed:
            yield token


def _restart(diff: Diff) -> Action:
    says = [one.change.says for one in diff.changes if one.change.cost is Cost.NEXT_BOOT]
    return Action(
        id=RESTART,
        title="Start the machine anew",
        reason="Only then does all of it take effect: " + "; ".join(says) + ".",
        stage=Stage.FIRST_BOOT,
        gives=(Milestone.FIRST_START,),
        operations=(
            ByHand(text="Save what is open, tell whoever works on it, and restart.", commands=("systemctl reboot",)),
        ),
        way_back=WayBack(note="Nothing to undo."),
        expected="The machine starts, and the audit of the new spec holds.",
        trouble="Take the change back as its hand-over sheet says, or start the live medium and do what the rescue "
        "sheet of the installation says.",
        changes=False,
    )


def _owned(action: Action, diff: Diff) -> Owned:
    section = action.id.partition(".")[0]
    nodes = (*diff.new.graph.nodes, *diff.old.graph.nodes)
    origin = next((node.origin for node in nodes if node.section == section), "the comparison")
    return Owned(action=action, section=section, origin=origin)


# --- the disk as the change sees it ----------------------------------------------------------------------------------


def _facts(diff: Diff) -> Mapping[type, object]:
    facts = dict(diff.new.graph.facts)
    old, new = diff.old.graph.fact(Layout), diff.new.graph.fact(Layout)
    if old is not None and new is not None:
        facts[Layout] = _layout(old, new)
    return facts


def _layout(old: Layout, new: Layout) -> Layout:
    """What the old spec made is kept now; new is what it did not have."""
    there = {part.uuid for part in old.partitions}
    return evolve(
        new,
        whole_disk=False,
        partitions=tuple(_kept(part) if part.uuid in there else part for part in new.partitions),
        before=tuple(_kept(part) for part in old.partitions),
    )


def _kept(part: LaidPartition) -> LaidPartition:
    return evolve(part, new=False, shrunk_from=0)
