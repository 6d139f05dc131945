"""Names that many actions ask for and one action brings: packages in one transaction, for example.

Enters: actions. Leaves: the same actions, those that gather filled with the names of their kind.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence
from typing import cast

from attrs import evolve

from bedplate.actions import Action, Argv, Call, Check, Gathered, Joined, Operation, Plain, Run, Test, Typed


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
        yield _filled(action, kind, tuple(sorted(set(names[kind])))) if kind else action


def _filled(action: Action, kind: str, names: tuple[str, ...]) -> Action:
    def typed(lines: Sequence[Typed]) -> tuple[Typed, ...]:
        return tuple(_typed(line, kind, names) for line in lines)

    def call(item: Call) -> Call:
        return evolve(item, args=_fill(item.args, kind, names), by_hand=typed(item.by_hand))

    def operation(item: Operation) -> Operation:
        if isinstance(item, Run):
            return evolve(item, argv=_fill(item.argv, kind, names), by_hand=typed(item.by_hand))
        return call(item) if isinstance(item, Call) else item

    def checks(items: Sequence[Check]) -> tuple[Check, ...]:
        return tuple(evolve(item, test=test(item.test)) for item in items)

    def test(item: Test) -> Test:
        return call(item) if isinstance(item, Call) else evolve(item, argv=_fill(item.argv, kind, names))

    gives = dict.fromkeys((*action.gives, *(f"{kind}:{name}" for name in names)))
    operations = tuple(operation(item) for item in action.operations)
    return evolve(
        action,
        operations=operations,
        guards=checks(action.guards),
        proofs=checks(action.proofs),
        audits=checks(action.audits),
        gives=tuple(gives),
    )


def _typed(line: Typed, kind: str, names: tuple[str, ...]) -> Typed:
    """A line for a person with the names in it, each quoted for a shell. It stays in parts while other kinds wait."""
    if isinstance(line, str):
        return line
    quoted = [shlex.quote(name) for name in names]
    parts = tuple(
        (part.joined or " ").join(quoted) if isinstance(part, Gathered) and part.kind == kind else part for part in line
    )
    return "".join(map(str, parts)) if all(isinstance(part, str) for part in parts) else parts


def _fill(argv: Argv, kind: str, names: tuple[str, ...]) -> Argv:
    out: list[object] = []
    for word in argv:
        if isinstance(word, Gathered) and word.kind == kind:
            out.extend(names if word.joined is None else [word.joined.join(names)])
        elif isinstance(word, Joined):
            out.append(Joined(cast("tuple[Plain, ...]", _fill(word.parts, kind, names))))
        else:
            out.append(word)
    return cast(Argv, tuple(out))
