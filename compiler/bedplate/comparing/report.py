"""The comparison as text for people and as JSON for programs (schema `diff.json`). Enters: a `Diff`. Leaves: text."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator
from typing import Any

from bedplate.changes import Cost
from bedplate.comparing.change_graph import change_graph
from bedplate.comparing.model import Diff, Planned, SectionChange
from bedplate.faults import Path, dotted
from bedplate.rendering.graph_json import document
from bedplate.rendering.quoting import visible
from bedplate.serialize import as_text
from bedplate.units import counted

FORMAT = 1
"""Version of the shape that the schema describes."""

Paint = Callable[[Cost, str], str]
"""Gives a word of the report its colour."""

_WIDTH = 100


def plain(cost: Cost, text: str) -> str:
    """No colour."""
    return text


COLOURS = {
    Cost.NOTHING: "2",
    Cost.IN_PLACE: "32",
    Cost.NEXT_BOOT: "36",
    Cost.LIVE_MEDIUM: "33",
    Cost.LOSES_DATA: "1;31",
    Cost.ASK: "35",
}
"""SGR parameters of ECMA-48, section 8.3.117."""


def painted(cost: Cost, text: str) -> str:
    """In the colour of its class, for a terminal."""
    return f"\033[{COLOURS[cost]}m{text}\033[0m"


def report(diff: Diff, *, places: bool = False, paint: Paint = plain) -> str:
    """The report for people; with `places` the file and line of both values."""
    if not diff.changes:
        return f"{_title(diff)}: nothing changes.\n"
    lines = [f"{_title(diff)}:"]
    for section in dict.fromkeys(one.section for one in diff.changes):
        lines += ["", f"[{section}]"]
        for one in diff.changes:
            if one.section == section:
                lines += _lines(one, diff, places, paint)
    return "\n".join([*lines, "", *_summary(diff)]) + "\n"


def _title(diff: Diff) -> str:
    names = [planned.graph.spec_file for planned in (diff.old, diff.new)]
    if names[0] == names[1]:
        names = [planned.checked.document.file for planned in (diff.old, diff.new)]
    return visible(f"{diff.new.graph.machine.name}: from {' to '.join(names)}")


def _lines(one: SectionChange, diff: Diff, places: bool, paint: Paint) -> Iterator[str]:
    change = one.change
    yield f"  {visible(change.says)}: {paint(change.cost, change.cost.value)}"
    if change.loses:
        yield from _wrapped(paint(change.cost, "lost: ") + visible(change.loses))
    if change.why:
        yield from _wrapped(visible(change.why))
    if places and (change.old, change.new) != (None, None):
        for word, planned, path in (("old", diff.old, change.old), ("new", diff.new, change.new)):
            place = planned.place(one.section, path)
            yield f"      {word}: {visible(str(place)) if place else 'not written'}"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent="      ", subsequent_indent="      ", break_long_words=False)


def _summary(diff: Diff) -> Iterator[str]:
    counts = {cost: sum(one.change.cost is cost for one in diff.changes) for cost in Cost}
    parts = ", ".join(f"{count} {cost.value}" for cost, count in counts.items() if count)
    yield f"{counted(len(diff.changes), 'change')}: {parts}."
    if diff.blocking:
        yield "Not all of it can be done on the installed machine: no change script is made."
    elif any(one.change.actions for one in diff.changes):
        yield "All of it can be done on the installed machine: --as script makes the change script."


# --- for programs ----------------------------------------------------------------------------------------------------


def as_json(diff: Diff) -> str:
    """The comparison as indented JSON."""
    return as_text(_document(diff))


def _document(diff: Diff) -> dict[str, Any]:
    doable = bool(diff.changes) and not diff.blocking
    return {
        "format": FORMAT,
        "old": diff.old.graph.spec_file,
        "new": diff.new.graph.spec_file,
        "machine": diff.new.graph.machine.name,
        "same": not diff.changes,
        "class": diff.cost.value if diff.cost else None,
        "changes": [_change(one, diff) for one in diff.changes],
        "work": document(change_graph(diff)) if doable else None,
    }


def _change(one: SectionChange, diff: Diff) -> dict[str, Any]:
    change = one.change
    return {
        "section": one.section,
        "says": change.says,
        "class": change.cost.value,
        "why": change.why or None,
        "loses": change.loses or None,
        "old": _value(one.section, diff.old, change.old),
        "new": _value(one.section, diff.new, change.new),
        "actions": [action.id for action in change.actions],
    }


def _value(section: str, planned: Planned, path: Path | None) -> dict[str, Any] | None:
    place = planned.place(section, path)
    if path is None or place is None:
        return None
    return {
        "path": dotted((section, *path)),
        "file": place.file,
        "line": place.line or None,
        "column": place.column or None,
    }
