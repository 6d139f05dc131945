"""Linking. Enters: actions with their owners. Leaves: the nodes of an `InstallGraph` in order, and the tools it needs.

Needs and gives become edges; what cannot be joined is a fault that names steps, actions and, for a cycle, the loop.
The order is stage, then dependency, then what is done at another machine and what only looks, before what changes, then
section order of the spec, then emission order.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterable, Mapping, Sequence
from typing import TypeVar

from attrs import evolve, frozen

from bedplate.actions import SHARED_KINDS, Action, Stage, token_kind
from bedplate.faults import Fault, Rejected, nearest, ordered
from bedplate.install_graph import Edge, Node
from bedplate.linking.package_collection import gather

T = TypeVar("T")

_STAGES = {stage: index for index, stage in enumerate(Stage)}
_STAGE_TOKENS = {f"stage:{stage.value.replace(' ', '-')}": stage for stage in Stage}


@frozen(kw_only=True)
class Owned:
    """An action with the step it came from."""

    action: Action
    section: str
    origin: str
    """The step's distribution and version, for people."""


def link(owned: Sequence[Owned]) -> tuple[tuple[Node, ...], tuple[str, ...]]:
    """Nodes in order, and the tools the medium must bring. `owned` comes in section order, then emission order.

    Raises Rejected with every fault: duplicate-action, two-givers, unmet-need, backward-need, or one action-cycle.
    """
    gathered = gather([own.action for own in owned])
    owned = [evolve(own, action=action) for own, action in zip(owned, gathered, strict=True)]
    givers = _givers(owned)
    edges, tools, faults = _edges(owned, givers)
    if faults:
        raise Rejected(ordered(faults))
    after = [[giver for _, giver in row] for row in edges]
    _close_stages(owned, edges, after)
    ranks = sorted(range(len(owned)), key=lambda index: _rank(owned[index], index))
    sequence = order(after, ranks)
    if len(sequence) < len(owned):
        raise Rejected([_cycle(owned, edges, after, set(sequence))])
    nodes = (_node(number, owned, index, edges[index]) for number, index in enumerate(sequence, 1))
    return tuple(nodes), tuple(sorted(tools))


def order(after: Sequence[Sequence[int]], ranks: Sequence[int]) -> list[int]:
    """Topological order of 0..n-1; among the ready ones the first in `ranks` goes first.

    `after[i]` lists what must come before `i`. What lies on or behind a cycle is left out.
    """
    count = len(after)
    place = [0] * count
    for position, index in enumerate(ranks):
        place[index] = position
    waiting = [len(row) for row in after]
    followers: list[list[int]] = [[] for _ in range(count)]
    for index, row in enumerate(after):
        for giver in row:
            followers[giver].append(index)
    ready = [place[index] for index in range(count) if not waiting[index]]
    heapq.heapify(ready)
    out: list[int] = []
    while ready:
        index = ranks[heapq.heappop(ready)]
        out.append(index)
        for follower in followers[index]:
            waiting[follower] -= 1
            if not waiting[follower]:
                heapq.heappush(ready, place[follower])
    return out


def _node(number: int, owned: Sequence[Owned], index: int, row: Sequence[tuple[str, int]]) -> Node:
    own = owned[index]
    after = tuple(Edge(token=token, giver=owned[giver].action.id) for token, giver in row)
    return Node(number=number, action=own.action, section=own.section, origin=own.origin, after=after)


# --- linking -----------------------------------------------------------------------------------------------------


def _givers(owned: Sequence[Owned]) -> dict[str, int]:
    givers: dict[str, int] = {}
    seen: dict[str, Owned] = {}
    faults: list[Fault] = []
    for index, own in enumerate(owned):
        first = seen.setdefault(own.action.id, own)
        if first is not own:
            faults.append(_duplicate(first, own))
        for token in own.action.gives:
            other = givers.setdefault(token, index)
            if other != index and token_kind(token) not in SHARED_KINDS:
                faults.append(_two_givers(token, owned[other], own))
    if faults:
        raise Rejected(ordered(faults))
    return givers


def _edges(
    owned: Sequence[Owned], givers: Mapping[str, int]
) -> tuple[list[list[tuple[str, int]]], set[str], list[Fault]]:
    edges: list[list[tuple[str, int]]] = []
    tools: set[str] = set()
    faults: list[Fault] = []
    for index, own in enumerate(owned):
        row: list[tuple[str, int]] = []
        for token in dict.fromkeys(own.action.needs):
            giver = givers.get(token)
            if giver is not None:
                if _STAGES[owned[giver].action.stage] > _STAGES[own.action.stage]:
                    faults.append(_backward(token, own, owned[giver]))
                elif giver != index:
                    row.append((token, giver))
            elif token_kind(token) in SHARED_KINDS:
                tools.add(token.partition(":")[2])
            elif token not in _STAGE_TOKENS:
                faults.append(_unmet(token, own, givers))
        edges.append(row)
    return edges, tools, faults


def _rank(own: Owned, index: int) -> tuple[int, bool, int]:
    return _STAGES[own.action.stage], not _goes_first(own), index


def _goes_first(own: Owned) -> bool:
    """Whether an action goes first in its stage, once it is ready: one that is done at another machine, and one on the
    live medium that leaves nothing behind.

    What can be prepared or found out is so done before the first write, by hand too, whatever section it belongs to. It
    is a preference among the ready ones and no edge: nothing waits for it that did not before.
    """
    looks = own.action.stage is Stage.LIVE and (own.action.transient or not own.action.changes)
    return own.action.away or looks


def _close_stages(owned: Sequence[Owned], edges: list[list[tuple[str, int]]], after: list[list[int]]) -> None:
    """A need of `stage:X` stands for everything up to and in stage X that does not itself wait for such a need."""
    for token, stage in _STAGE_TOKENS.items():
        closers = [index for index, own in enumerate(owned) if token in own.action.needs]
        behind = _behind(closers, after) if closers else set()
        upto = [index for index, own in enumerate(owned) if _STAGES[own.action.stage] <= _STAGES[stage]]
        everything = [index for index in upto if index not in behind]
        for index in closers:
            after[index].extend(everything)


def _behind(starts: Iterable[int], after: Sequence[Sequence[int]]) -> set[int]:
    """The starts and everything that comes after any of them."""
    followers: dict[int, list[int]] = {}
    for index, row in enumerate(after):
        for giver in row:
            followers.setdefault(giver, []).append(index)
    found, pending = set(starts), list(starts)
    while pending:
        for follower in followers.get(pending.pop(), ()):
            if follower not in found:
                found.add(follower)
                pending.append(follower)
    return found


# --- faults ------------------------------------------------------------------------------------------------------


def _name(own: Owned) -> str:
    return f"{own.action.id} ({own.origin})"


def _duplicate(first: Owned, second: Owned) -> Fault:
    both = f"both of {first.origin}" if first.origin == second.origin else f"of {first.origin} and of {second.origin}"
    message = f"two actions have the id {first.action.id}, {both}"
    return Fault(code="duplicate-action", message=message, path=(second.section,))


def _two_givers(token: str, first: Owned, second: Owned) -> Fault:
    message = f"{token} is given twice: by {_name(first)} and by {_name(second)}"
    return Fault(code="two-givers", message=message, path=(second.section,), allowed="one giver for a token")


def _unmet(token: str, own: Owned, givers: Mapping[str, int]) -> Fault:
    kind = token_kind(token)
    same_kind = [given for given in givers if token_kind(given) == kind]
    return Fault(
        code="unmet-need",
        message=f"{_name(own)} needs {token}, and no action gives it",
        path=(own.section,),
        found=token,
        nearest=nearest(token, same_kind or givers),
        notes=("Is a section or a plugin missing that would give it?",),
    )


def _backward(token: str, own: Owned, giver: Owned) -> Fault:
    message = (
        f"{_name(own)} in stage {own.action.stage.value!r} needs {token}, "
        f"but {_name(giver)} gives it only in stage {giver.action.stage.value!r}"
    )
    return Fault(code="backward-need", message=message, path=(own.section,))


def _cycle(
    owned: Sequence[Owned], edges: Sequence[Sequence[tuple[str, int]]], after: Sequence[Sequence[int]], done: set[int]
) -> Fault:
    """One closed walk among the actions that could not be ordered, the same whatever the order of input sets."""
    start = min(index for index in range(len(owned)) if index not in done)
    walk: list[int] = []
    while start not in walk:
        walk.append(start)
        start = min(giver for giver in after[start] if giver not in done)
    loop = [*walk[walk.index(start) :], start]
    steps = [_link_words(owned, edges, one, two) for one, two in itertools.pairwise(loop)]
    message = "these actions wait for one another: " + " -> ".join(owned[index].action.id for index in loop)
    return Fault(code="action-cycle", message=message, path=(owned[loop[0]].section,), notes=tuple(steps))


def _link_words(owned: Sequence[Owned], edges: Sequence[Sequence[tuple[str, int]]], one: int, two: int) -> str:
    token = next((token for token, giver in edges[one] if giver == two), "the end of its stage")
    return f"{_name(owned[one])} needs {token}, given by {_name(owned[two])}"
