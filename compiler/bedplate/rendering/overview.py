"""What a person is told before the work. Enters: an `InstallGraph`. Leaves: words, no markup.

What the machine will be, what is erased and kept, cautions, what to have at hand.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from attrs import frozen

from bedplate.actions import Milestone
from bedplate.facts import Family, HostName, Layout, People
from bedplate.faults import Fault
from bedplate.install_graph import ChangeGraph, InstallGraph
from bedplate.rendering import change_summary, disk_map, disk_segments
from bedplate.rendering.modes import mode
from bedplate.rendering.stage_text import Code, Line, Loud, Said
from bedplate.units import in_gib

CAUTIONS = (
    "Have a backup of everything that matters on this machine, on another medium, and have tried to read it back.",
    "Have the recovery keys of encrypted volumes at hand, outside this machine.",
    "Keep the machine on mains power until the work is finished.",
    "The instructions of the machine's vendor and the rules of your site come before this text.",
)
"""Cautions of every installation (common practice, no source)."""


@frozen(kw_only=True)
class Caution:
    """A caution and what belongs to it."""

    says: str
    notes: tuple[str, ...] = ()


@frozen(kw_only=True)
class Fate:
    """What becomes of the disk: one line for each partition, and the unit of all sectors."""

    disk: str
    whole_disk: bool
    lost: tuple[str, ...]
    kept: tuple[str, ...]
    unit: str


def about(graph: InstallGraph) -> Line:
    """One paragraph: what this machine will be, or from what to what it is changed."""
    return change_summary.about(graph) if isinstance(graph, ChangeGraph) else _joined(_about(graph), " ")


def _about(graph: InstallGraph) -> Iterator[Line]:
    machine, layout, family = graph.machine, graph.fact(Layout), graph.fact(Family)
    host, people = graph.fact(HostName), graph.fact(People)
    linux = f"a Linux system of the package family {family.name}" if family else "a Linux system"
    placed = (Said(f"on the disk {layout.disk_words}, "), *_beside(layout)) if layout else (Said("as planned below."),)
    yield (Loud(machine.name), Said(f" ({machine.architecture}, {machine.firmware.upper()}) gets {linux} "), *placed)
    if host:
        name = ".".join(part for part in (host.host, host.domain) if part)
        yield (Said("Its host name will be "), Code(name), Said("."))
    if people:
        yield from _people(people)
    if machine.notes:
        yield (Said(f"Notes: {machine.notes}"),)


def _beside(layout: Layout) -> Line:
    if layout.whole_disk:
        return (Said("and takes the whole disk."),)
    if not layout.other_systems:
        return (Said("beside what is kept there."),)
    return (Said("beside the other system on "), *_listed(layout.other_systems), Said("."))


def _listed(names: tuple[str, ...]) -> Line:
    return _joined(((Code(name),) for name in names), ", ")


def _joined(lines: Iterable[Line], by: str) -> Line:
    return tuple(piece for place, line in enumerate(lines) for piece in ((Said(by), *line) if place else line))


def _people(people: People) -> Iterator[Line]:
    if not people.persons:
        yield (Said("No person has an account of their own."),)
    for place, one in enumerate(people.persons):
        start = "" if place else "Who can log in: "
        end = " (administrator)" if one.administrator else ""
        yield (Said(start), Code(one.name), Said(end + ("." if one is people.persons[-1] else ",")))
    yield (Said(f"The root account: {people.root}."),)


def fate(graph: InstallGraph) -> Fate | None:
    """What is erased and what is kept; None if the spec plans no disk, or the change leaves it as it is."""
    layout = graph.fact(Layout)
    if layout is None or not change_summary.touches_disk(layout):
        return None
    return Fate(
        disk=layout.disk_words,
        whole_disk=layout.whole_disk,
        lost=tuple(disk_map.partition_line(part, layout.sector_size) for part in disk_segments.lost(layout)),
        kept=tuple(disk_map.partition_line(part, layout.sector_size) for part in disk_segments.kept(layout)),
        unit=f"Sectors of {layout.sector_size} bytes; the disk has {in_gib(layout.size_bytes)}.",
    )


def cautions(graph: InstallGraph) -> tuple[Caution, ...]:
    """The cautions of every installation, then what is special to this spec. An action's own stand with the action."""
    return (*(Caution(says=text) for text in CAUTIONS), *map(_warned, graph.warnings))


def done(graph: InstallGraph) -> tuple[str, ...]:
    """What a change does; empty for an installation."""
    return graph.done if isinstance(graph, ChangeGraph) else ()


def left_out(graph: InstallGraph) -> tuple[Caution, ...]:
    """What a change in part leaves out, and why; empty where all of it is done."""
    return tuple(map(_warned, graph.left_out)) if isinstance(graph, ChangeGraph) else ()


def origin(graph: InstallGraph) -> Line:
    """What it was made from."""
    old = (Code(graph.old_spec_file), Said(" and ")) if isinstance(graph, ChangeGraph) else ()
    start = "Made from the specs " if old else "Made from the spec "
    return (Said(start), *old, Code(graph.spec_file), Said("; digest "), Code(graph.digest[:16]), Said("."))


def _warned(fault: Fault) -> Caution:
    return Caution(says=sentence(fault.message), notes=fault.notes)


def sentence(message: str) -> str:
    """A fault's message as a sentence of its own. A name at its start (`factory-system`) stays as it is written."""
    first = message.split(" ", 1)[0]
    start = message[:1].upper() + message[1:] if first.isalpha() else message
    return start if start.endswith((".", "?", "!", ":")) else start + "."


def at_hand(graph: InstallGraph) -> tuple[Line, ...]:
    """What to have at hand before the work begins."""
    return (
        (Said("This checklist, on paper or on another machine."),),
        *(() if mode(graph).running else _things(graph)),
        *((tools,) if (tools := _tools(graph)) else ()),
        *_secrets(graph),
    )


def _things(graph: InstallGraph) -> Iterator[Line]:
    yield (Said("The live medium, on a stick."),)
    yield (Said("A second stick with a file system that can be written, for what must outlive the live medium."),)
    yield from _keys(graph)
    if graph.reaching(Milestone.NETWORK_UP):
        yield (Said("A network cable, or the name and passphrase of a wireless network: packages are fetched."),)
    yield (Said("A camera, for pages of the firmware and for messages; a pen."),)


def _keys(graph: InstallGraph) -> Iterator[Line]:
    layout = graph.fact(Layout)
    if layout is not None and layout.other_encryption not in ("", "none"):
        yield (Said("The recovery key of the other system, on paper, apart from this machine."),)


def _tools(graph: InstallGraph) -> Line:
    what = f"the command{'s' * (len(graph.tools) > 1)}"
    return (Said(f"On the {mode(graph).system}, {what} "), *_listed(graph.tools), Said(".")) if graph.tools else ()


def _secrets(graph: InstallGraph) -> Iterator[Line]:
    for secret in graph.secrets:
        limits = f"{secret.min_length} to {secret.max_length} printable ASCII characters"
        start = Said(f"A secret: {secret.prompt} (")
        if secret.file:
            yield (start, Said("in the file "), Code(secret.file), Said(f" of the medium; {limits})."))
        else:
            yield (start, Said(f"asked for before the first write; {limits})."))
