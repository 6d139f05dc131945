"""What the script's list of actions says of each: flags the runtime goes by. Enters: a graph. Leaves: names and flags.

The way to the target: what has to be there before the new root is mounted. A rerun goes it to see what is done.
"""

from __future__ import annotations

from bedplate.actions import NOTHING_TO_UNDO, Action, ByHand, Milestone, Stage
from bedplate.install_graph import InstallGraph, Node

ON_THE_MEDIUM = (Stage.LIVE, Stage.TARGET)
"""Stages that the script carries out."""


def way_to_target(graph: InstallGraph) -> frozenset[str]:
    """Ids of the live actions that come before the new root is mounted, and of the one that mounts it."""
    nodes = {node.action.id: node for node in graph.nodes}
    pending = [action.id for action in graph.reaching(Milestone.ROOT_MOUNTED)]
    found: set[str] = set()
    while pending:
        node = nodes[pending.pop()]
        if node.action.stage is Stage.LIVE and node.action.id not in found:
            found.add(node.action.id)
            pending.extend(edge.giver for edge in node.after)
    return frozenset(found)


def tokens(graph: InstallGraph) -> frozenset[str]:
    """Everything any action gives."""
    return frozenset(token for node in graph.nodes for token in node.action.gives)


def flags(node: Node, on_the_way: frozenset[str], given: frozenset[str]) -> list[str]:
    """What the runtime asks of an action, as words of which none is part of another."""
    action, reach = node.action, node.action.id in on_the_way
    lasting = action.changes and not action.transient
    before_end = action.stage is not Stage.FIRST_BOOT
    goes = action.way_back.goes_with in given
    undo = not goes and undoable(action)
    known = {
        "change": action.changes,
        "secret": bool(action.secrets),
        "guard": bool(action.guards),
        "proof": bool(action.proofs),
        "stamp": action.stamped,
        "back": action.way_back != NOTHING_TO_UNDO,
        "close": Milestone.TARGET_CLOSED in action.gives and action.stage in ON_THE_MEDIUM,
        "keys": Milestone.KEYMAP_LOADED in action.gives,
        "peek": bool(action.peek),
        "reach": reach,
        "lasting": lasting,
        "ours": lasting and reach,
        "goes": goes,
        "undo": undo,
        "touch": bool(action.touches),
        "told": action.way_back != NOTHING_TO_UNDO and lasting and before_end and not goes and not undo,
    }
    return [flag for flag, given_here in known.items() if given_here]


def undoable(action: Action) -> bool:
    """Whether the script can carry out the way back by itself."""
    back = action.way_back
    by_machine = any(not isinstance(item, ByHand) for item in back.operations)
    return back.possible and by_machine and action.stage in ON_THE_MEDIUM
