"""The hand-over sheet: what whoever keeps the machine must know. Enters: an `InstallGraph`. Leaves: passages.

What was done, how either system starts when a menu is gone, the line that makes the boot entry again, where the saved
copies lie, what has to be done later. Ways out of trouble are those of the rescue sheet.
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.actions import Milestone, Stage
from bedplate.facts import LaidPartition, Layout
from bedplate.install_graph import InstallGraph
from bedplate.rendering import rescue_sheet
from bedplate.rendering.rescue_sheet import Rescue
from bedplate.rendering.stage_text import Code, Loud, Passage, Said, prose
from bedplate.units import in_gib

_LOG = "/var/lib/bedplate/install.log"
"""Where the script leaves its log in the new system, before it unmounts it."""

_SPEC = "/var/lib/bedplate/spec"
"""Where it leaves the spec, what that extends, and the survey."""


def sheet(graph: InstallGraph) -> tuple[Rescue, ...]:
    """The parts of the sheet, in order. Empty without a disk that was laid out."""
    layout = graph.fact(Layout)
    if layout is None:
        return ()
    parts = (
        ("What was done", _done(graph, layout)),
        ("Start the new system when its menu is gone", _start(graph)),
        ("Make the firmware's boot entry again", rescue_sheet.entry(graph)),
        ("Start the other system when the menu is gone", rescue_sheet.other_system(graph, layout)),
        ("Where the saved copies lie", _copies(graph)),
        ("What the keeper does later", _later(graph)),
        ("To be filled in", _blanks(layout)),
    )
    return tuple(Rescue(title=title, steps=steps) for title, found in parts if (steps := tuple(found)))


def _done(graph: InstallGraph, layout: Layout) -> Iterator[Passage]:
    yield (
        Said("The machine "),
        Code(graph.machine.name),
        Said(f" was installed on {layout.disk_words}, as "),
        Code(graph.spec_file),
        Said(" says (digest "),
        Code(graph.digest[:16]),
        Said(")."),
    )
    for part in layout.partitions:
        yield (
            Said(f"{'New' if part.new else 'Kept'}: partition {part.number}, "),
            Code(part.name),
            Said(_partition(part, layout)),
        )


def _partition(part: LaidPartition, layout: Layout) -> str:
    points = [volume.mount for volume in part.subvolumes] or [part.mount or part.later_mount]
    shrunk = f", shrunk from {in_gib(part.shrunk_from * layout.sector_size)}" if part.shrunk_from else ""
    places = [f"at {point}" for point in points if point]
    holds = f"{part.filesystem}, encrypted" if part.mapper else part.filesystem
    words = [in_gib(part.size * layout.sector_size) + shrunk, holds, *places]
    return ", " + ", ".join(word for word in words if word)


def _start(graph: InstallGraph) -> Iterator[Passage]:
    if graph.reaching(Milestone.BOOT_ENTRY):
        yield (
            Said(
                "Switch on with the key of the boot menu, and choose the entry of the new system. If the firmware "
                "has lost it, start a live medium and type the line of the next part."
            ),
        )


def _copies(graph: InstallGraph) -> Iterator[Passage]:
    for node in graph.nodes:
        yield from (prose(sentence) for sentence in node.action.leaves)
    if graph.stage(Stage.TARGET):
        yield (Said("The log of the script: "), Code(_LOG), Said(" in the new system."))
        if graph.source_files:
            yield (Said("Spec and survey, as they were for the script: "), Code(_SPEC), Said(" in the new system."))
    yield (
        Loud("What lies in the new system lies on the one disk."),
        Said(" Copy it, with the spec "),
        Code(graph.spec_file),
        Said(", its survey and the script, to a stick or a server now, and write the place below."),
    )


def _later(graph: InstallGraph) -> Iterator[Passage]:
    for node in graph.nodes:
        yield from (prose(sentence) for sentence in node.action.upkeep)


def _blanks(layout: Layout) -> Iterator[Passage]:
    wanted = ["Key of the boot menu", "Key of the firmware's setup", "Place of the copies"]
    if layout.other_encryption not in ("", "none") or any(part.mapper for part in layout.partitions):
        wanted.append("Place of the recovery keys and passphrases (the place, never the key)")
    yield from ((Said(f"{words}: {'.' * 40}"),) for words in (*wanted, "Date, name and signature"))
