"""Whether what a step emitted has the shape of an action. Enters: whatever came. Leaves: what is wrong, as a sentence.

Types are looked at here because Python does not: an argument vector given as one text would be taken letter by letter.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, get_args

from bedplate.actions import (
    KINDS,
    Action,
    Call,
    Check,
    Disk,
    Does,
    Gathered,
    InTarget,
    Joined,
    Link,
    Operation,
    Outputs,
    Run,
    Secret,
    SecretRef,
    Stage,
    Succeeds,
    Test,
    Touch,
    WayBack,
    WriteFile,
    token_kind,
)
from bedplate.faults import nearest
from bedplate.rendering import shell_library

_OPERATIONS = frozenset(get_args(Operation))
_TESTS = frozenset(get_args(Test))
_PLAIN = frozenset({str, Disk, InTarget, Gathered})
_CONTENT = frozenset({str, SecretRef, Disk})
_ID = re.compile(r"[A-Za-z0-9_.-]+")
_UPWARD = re.compile(r"(^|/)\.\.(/|$)")


def trouble(action: Action, section: str) -> str:
    """Why this is not an action that the step of `section` may emit; empty if it is one."""
    if not isinstance(action.id, str) or not action.id.startswith(section + ".") or not _ID.fullmatch(action.id):
        return f"the id {action.id!r} must be {section + '.'!r} and a few words joined by dashes"
    found = next(_troubles(action, section), "")
    return f"{action.id}: {found}" if found else ""


def _troubles(action: Action, section: str) -> Iterator[str]:
    if not action.title.strip() or "\n" in action.title:
        yield "the title must be one line of text"
    if not isinstance(action.stage, Stage):
        yield f"stage must be a member of Stage, not {action.stage!r}"
    for name, kind in _TUPLES.items():
        yield from _tuple(name, getattr(action, name), kind)
    for touch in action.touches if type(action.touches) is tuple else ():
        if type(touch) is Touch and (type(touch.does) is not Does or not touch.what.strip() or "\n" in touch.what):
            yield f"a touch says with a member of Does and one line of text what is touched: {touch!r}"
    if not isinstance(action.way_back, WayBack) or not action.way_back.note.strip():
        yield "way_back must be a WayBack whose note says how to go back, or that it cannot be undone"
    for operation in (*action.operations, *action.peek, *action.way_back.operations):
        yield from _operation(operation)
    for check in (*action.guards, *action.proofs, *action.audits):
        yield from _check(check)
    for token in (*action.needs, *action.gives):
        yield from _token(token, section)


_TUPLES: dict[str, frozenset[type]] = {
    "operations": _OPERATIONS,
    "needs": frozenset({str}),
    "gives": frozenset({str}),
    "guards": frozenset({Check}),
    "proofs": frozenset({Check}),
    "audits": frozenset({Check}),
    "peek": _OPERATIONS,
    "secrets": frozenset({Secret}),
    "cautions": frozenset({str}),
    "touches": frozenset({Touch}),
    "leaves": frozenset({str}),
    "upkeep": frozenset({str}),
}


def _tuple(name: str, items: Any, kinds: frozenset[type]) -> Iterator[str]:
    if type(items) is not tuple:
        yield f"{name} must be a tuple, it is a {type(items).__name__}"
        return
    for item in items:
        if type(item) not in kinds:
            words = " or ".join(sorted(kind.__name__ for kind in kinds))
            yield f"{name} must hold {words}, it holds a {type(item).__name__}"


def _token(token: str, section: str) -> Iterator[str]:
    try:
        kind = token_kind(token)
    except ValueError as error:
        yield str(error)
        return
    if kind not in KINDS and kind != section:
        known = KINDS | {section}
        near = nearest(kind, known)
        hint = f" (nearest: {near})" if near else ""
        yield f"{token!r} is of no known kind{hint}; kinds are {', '.join(sorted(known))}"


def _operation(operation: Operation) -> Iterator[str]:
    if isinstance(operation, Run):
        yield from _vector("argv", operation.argv, least=1)
        yield from _content("stdin", operation.stdin)
        yield from _word(operation.stdout_to) if operation.stdout_to is not None else ()
    elif isinstance(operation, WriteFile):
        yield from _word(operation.path)
        yield from _content("content", operation.content)
    elif isinstance(operation, Link):
        yield from _word(operation.path)
    elif isinstance(operation, Call):
        yield from _call(operation)


def _check(check: Check) -> Iterator[str]:
    test = check.test
    if type(test) not in _TESTS:
        yield f"the check {check.says!r} must have a test of Succeeds, Outputs or Call"
    elif isinstance(test, Call):
        yield from _call(test)
    elif isinstance(test, Succeeds | Outputs):
        yield from _vector("argv", test.argv, least=1)


def _call(call: Call) -> Iterator[str]:
    known = shell_library.known()
    if call.verb not in known:
        near = nearest(call.verb, known)
        yield f"there is no verb {call.verb!r}" + (f" (nearest: {near})" if near else "")
    yield from _vector("args", call.args)
    yield from _content("stdin", call.stdin)


def _vector(name: str, words: Any, least: int = 0) -> Iterator[str]:
    if type(words) is not tuple or len(words) < least:
        yield f"{name} must be a tuple of words, never one text: {words!r}"
        return
    if least and type(words[0]) is str and len(words[0].split()) != 1:
        yield f"{words[0]!r} is no command's name: give each word as its own argument"
    for word in words:
        if type(word) is not str:
            yield from _word(word)


def _word(word: object) -> Iterator[str]:
    parts = word.parts if isinstance(word, Joined) else (word,)
    for part in parts:
        if type(part) not in _PLAIN:
            yield f"{part!r} is no word; a word is text, InTarget, Disk or Gathered, or several of them Joined"
        elif isinstance(part, InTarget) and (not part.path.startswith("/") or _UPWARD.search(part.path)):
            yield f"a path of the target begins with / and never goes up with ..: {part.path!r}"


def _content(name: str, content: Any) -> Iterator[str]:
    right = content is None or (type(content) is tuple and all(type(part) in _CONTENT for part in content))
    if not right:
        yield f"{name} must be a tuple of texts, SecretRef or Disk: {content!r}"
