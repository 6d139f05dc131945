"""Names that many actions ask for and one action brings: packages in one transaction, for example.

Enters: actions. Leaves: the same actions, those that gather filled with the names of their kind.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from attrs import evolve

from bedplate.actions import Action, Gathered, StandIn, map_words


def gather(actions: Sequence[Action]) -> Iterator[Action]:
    """Give every token of a gathered kind to the action that gathers it, its names filled in."""
    kinds = {action.gathers for action in actions if action.gathers}
    names: dict[str, list[str]] = {kind: [] for kind in kinds}
    for action in actions:
        for token in action.needs:
            kind, _, name = token.partition(":")
            if kind in kinds:
                names[kind].append(name)
    for action in actions:
        kind = action.gathers
        yield _filled(action, tuple(sorted(set(names[kind])))) if kind else action


def _filled(action: Action, names: tuple[str, ...]) -> Action:
    def named(item: StandIn) -> object:
        if not isinstance(item, Gathered) or item.kind != action.gathers:
            return item
        return names if item.joined is None else item.joined.join(names)

    tokens = (f"{action.gathers}:{name}" for name in names)
    return evolve(map_words(action, named), gives=tuple(dict.fromkeys((*action.gives, *tokens))))
