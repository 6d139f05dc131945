"""Whether what a step emitted may go into a graph. Enters: an action. Leaves: what is wrong, as a sentence.

That every field holds what it should, the types see to themselves; here is what only shows beside the section and the
runtime.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from bedplate.actions import KINDS, Action, Call, Gathered, token_kind, walk
from bedplate.faults import nearest
from bedplate.functions import Library

_ID = re.compile(r"[A-Za-z0-9_.-]+")


def trouble(action: Action, section: str, library: Library) -> str:
    """Why this is not an action that the step of `section` may emit; empty if it is one."""
    if not action.id.startswith(section + ".") or not _ID.fullmatch(action.id):
        return f"the id {action.id!r} must be {section + '.'!r} and a few words joined by dashes"
    found = next(_troubles(action, section, library), "")
    return f"{action.id}: {found}" if found else ""


def _troubles(action: Action, section: str, library: Library) -> Iterator[str]:
    for item in walk(action):
        if isinstance(item, Call) and (unknown := library.unknown(item.verb)):
            yield unknown
        elif isinstance(item, Gathered) and item.kind != action.gathers:
            gathered = f"and gathers {action.gathers!r}" if action.gathers else "and gathers none: set `gathers`"
            yield f"it names what is gathered of the kind {item.kind!r}, {gathered}"
    for token in (*action.needs, *action.gives):
        yield from _token(token, KINDS | {section})


def _token(token: str, known: frozenset[str]) -> Iterator[str]:
    try:
        kind = token_kind(token)
    except ValueError as error:
        yield str(error)
        return
    if kind not in known:
        yield f"{token!r} is of no known kind{_nearest(kind, known)}; kinds are {', '.join(sorted(known))}"


def _nearest(word: str, known: Iterable[str]) -> str:
    near = nearest(word, known)
    return f" (nearest: {near})" if near else ""
