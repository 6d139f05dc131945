"""Changes of the frame, the `[machine]` table. Enters: two planned specs. Leaves: what they mean for a machine."""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.changes import Change, Cost
from bedplate.comparing.model import Planned, SectionChange
from bedplate.facts import Layout
from bedplate.faults import shown

SECTION = "machine"
"""The frame's table, told like a section."""

_ANEW = "Every partition's identity is derived from it: the machine is installed anew, from a live medium."


def changes(old: Planned, new: Planned) -> Iterator[SectionChange]:
    """One for each value that differs."""
    for change in _changes(old, new):
        yield SectionChange(section=SECTION, change=change)


def _changes(old: Planned, new: Planned) -> Iterator[Change]:
    one, other = old.graph.machine, new.graph.machine
    if one.name != other.name:
        yield _lost(f"this is another machine: {other.name} replaces {one.name}", "name", old)
    if one.generation != other.generation:
        yield _lost(
            f"generation {other.generation} replaces {one.generation}: installed anew on purpose", "generation", old
        )
    if one.architecture != other.architecture:
        yield _lost(f"architecture {other.architecture} replaces {one.architecture}", "architecture", old)
    if one.firmware != other.firmware:
        yield _lost(f"firmware {other.firmware} replaces {one.firmware}", "firmware", old)
    if one.survey != other.survey:
        yield _nothing(
            f"survey {shown(other.survey or '')} replaces {shown(one.survey or '')}",
            "survey",
            "What differs between the two surveys shows in the sections.",
        )
    if one.notes != other.notes:
        yield _nothing("the notes are reworded", "notes", "They are for people.")


def _nothing(says: str, key: str, why: str) -> Change:
    return Change(says=says, cost=Cost.NOTHING, old=(key,), new=(key,), why=why)


def _lost(says: str, key: str, old: Planned) -> Change:
    layout = old.graph.fact(Layout)
    names = ", ".join(part.name for part in layout.partitions if part.new) if layout else "the installed system"
    return Change(
        says=says,
        cost=Cost.LOSES_DATA,
        old=(key,),
        new=(key,),
        why=_ANEW,
        loses=f"everything on the partitions of the old spec: {names}",
    )
