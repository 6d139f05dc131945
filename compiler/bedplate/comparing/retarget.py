"""Actions of an installation as they are carried out on the installed machine: the target's root is `/`.

Enters: an action. Leaves: the same with plain paths, and with commands as a person types them there.
"""

from __future__ import annotations

from attrs import evolve

from bedplate.actions import (
    TARGET,
    Action,
    Argv,
    ByHand,
    Call,
    Check,
    Gathered,
    InTarget,
    Joined,
    Link,
    Operation,
    Outputs,
    Plain,
    Run,
    Succeeds,
    Test,
    Typed,
    Where,
    Word,
    WriteFile,
)


def rooted(action: Action) -> Action:
    """The action, rooted at `/`."""
    return evolve(
        action,
        operations=_operations(action.operations),
        guards=_checks(action.guards),
        proofs=_checks(action.proofs),
        audits=_checks(action.audits),
        way_back=evolve(action.way_back, operations=_operations(action.way_back.operations)),
    )


def _operations(items: tuple[Operation, ...]) -> tuple[Operation, ...]:
    return tuple(map(_operation, items))


def _operation(item: Operation) -> Operation:
    match item:
        case Run():
            return evolve(item, argv=_vector(item.argv), where=Where.LIVE, by_hand=_lines(item.by_hand))
        case WriteFile() | Link():
            return evolve(item, path=item.path.path if isinstance(item.path, InTarget) else item.path)
        case Call():
            return _call(item)
        case ByHand():
            return evolve(item, commands=tuple(map(_typed, item.commands)))


def _call(item: Call) -> Call:
    return evolve(item, args=_vector(item.args), by_hand=_lines(item.by_hand))


def _lines(items: tuple[Typed, ...]) -> tuple[Typed, ...]:
    return tuple(_typed(one) if isinstance(one, str) else tuple(map(_part, one)) for one in items)


def _part(part: str | Gathered) -> str | Gathered:
    return _typed(part) if isinstance(part, str) else part


def _typed(line: str) -> str:
    """What a person types, which is shown and never run."""
    return line.replace(f"chroot {TARGET} ", "").replace(f"{TARGET}/", "/").replace(TARGET, "/")


def _checks(items: tuple[Check, ...]) -> tuple[Check, ...]:
    return tuple(evolve(item, test=_test(item.test)) for item in items)


def _test(test: Test) -> Test:
    match test:
        case Succeeds() | Outputs():
            return evolve(test, argv=_vector(test.argv), where=Where.LIVE)
        case Call():
            return _call(test)


def _vector(argv: Argv) -> Argv:
    return tuple(map(_word, argv))


def _word(item: Word) -> Word:
    return Joined(tuple(map(_plain, item.parts))) if isinstance(item, Joined) else _plain(item)


def _plain(item: Plain) -> Plain:
    return item.path if isinstance(item, InTarget) else item
