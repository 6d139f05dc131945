"""What a change of an installed machine is told by. Enters: a `ChangeGraph`. Leaves: words.

What it does and leaves out, how the script is made and run, and what is kept with the machine afterwards.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bedplate.facts import LaidPartition, Layout
from bedplate.install_graph import ChangeGraph
from bedplate.rendering import stage_text
from bedplate.rendering.modes import CHANGE
from bedplate.rendering.quoting import quote
from bedplate.rendering.rescue_sheet import Rescue
from bedplate.rendering.stage_text import Code, Commands, Line, Loud, Passage, Said, prose

SCRIPT = CHANGE.script


def about(graph: ChangeGraph) -> Line:
    """One paragraph: from what to what."""
    end = "" if graph.nodes or graph.left_out else " Nothing changes on it."
    return (
        Loud(graph.machine.name),
        Said(" is changed from "),
        Code(graph.old_spec_file),
        Said(" to "),
        Code(graph.spec_file),
        Said(f", on the running machine itself.{end}"),
    )


PARTLY = (
    "This is only a part of the change. No script does a part: do it by hand, and look at every “Only begin if” "
    "yourself. What is left out:"
)
"""Stands above what a change leaves out."""


def whole(graph: ChangeGraph) -> bool:
    """Whether nothing is left out, so that a script can do it."""
    return not graph.left_out


def touches_disk(layout: Layout) -> bool:
    """Whether a partition comes, goes, moves or gets another size."""
    return _rows(layout.before) != _rows(layout.partitions)


def _rows(parts: Iterable[LaidPartition]) -> set[tuple[str, int, int]]:
    return {(part.uuid, part.start, part.size) for part in parts}


def make(graph: ChangeGraph) -> str:
    """The command that makes the script."""
    old, new = graph.old_spec_file, graph.spec_file
    names = (old, new) if old != new else (f"old/{old}", f"new/{new}")
    return f"bedplate diff {' '.join(map(quote, names))} --as script --out {SCRIPT}"


def choose(graph: ChangeGraph) -> Iterator[Passage]:
    """What stands before the work, where a script can do it: by script or by hand."""
    if not whole(graph):
        return
    yield (
        Loud("By script (recommended)."),
        Said(
            " It proves first that the machine is what the old spec says, and "
            "proves each action. Where Bedplate is installed, this makes it:"
        ),
    )
    yield Commands(lines=(make(graph),))
    yield (Said("Bring it to the machine. Look first; this prints every action and touches nothing:"),)
    yield Commands(lines=(f"sh {SCRIPT} --show | less",))
    asks = f"It asks for {_asks(graph)}the name of this machine; nothing is written before:"
    yield (Said(f"Then run it as root. {asks}"),)
    yield Commands(lines=(f"sh {SCRIPT}",))
    yield (
        Loud("By hand."),
        Said(
            " Only if you look at every “Only begin if” yourself before you go on. Type the "
            "commands of one action, look at its proof, tick it off, then the next. Do not change ways in "
            "between."
        ),
    )


def _asks(graph: ChangeGraph) -> str:
    count = len(graph.secrets)
    return f"{count} secrets and for " if count > 1 else "a secret and for " * count


# --- kept with the machine -------------------------------------------------------------------------------------------


def sheet(graph: ChangeGraph) -> tuple[Rescue, ...]:
    """What is left with whoever keeps the machine."""
    parts = (
        ("What was done", _done(graph)),
        ("Take this change back", _back(graph)),
        ("If the machine does not start any more", _rescue(graph)),
        ("Where the saved copies lie", _copies(graph)),
        ("What the keeper does later", _later(graph)),
        ("To be filled in", [(Said(f"Date, name and signature: {'.' * 40}"),)]),
    )
    return tuple(Rescue(title=title, steps=steps) for title, found in parts if (steps := tuple(found)))


def _done(graph: ChangeGraph) -> Iterator[Passage]:
    yield (
        Said("The machine "),
        Code(graph.machine.name),
        Said(" was changed from "),
        Code(graph.old_spec_file),
        Said(" to "),
        Code(graph.spec_file),
        Said(" (digest "),
        Code(graph.digest[:16]),
        Said("):"),
    )
    yield from ((Said(f"{words}."),) for words in graph.done)


def _back(graph: ChangeGraph) -> Iterator[Passage]:
    if not any(node.action.changes for node in graph.nodes):
        return
    if whole(graph):
        yield (Said("On the running machine, with the script of this change; everything is shown before it is done:"),)
        yield Commands(lines=(f"sh {SCRIPT} --undo",))
        yield (Said("By hand, the way back of each action, the last action first."),)
    else:
        yield (Said("On the running machine, the way back of each action that was done, the last action first."),)
    for node in graph.nodes:
        back = node.action.way_back
        if not back.possible:
            yield (Loud("Cannot be undone: "), *prose(f"{node.number}. {node.action.title}. {back.note}"))


def _rescue(graph: ChangeGraph) -> Iterator[Passage]:
    yield (
        Said(
            "Start the live medium and do what the rescue sheet says. Once the change is done, keep the sheets of "
            "the new spec in place of those of the old one; this makes them:"
        ),
    )
    spec = quote(graph.spec_file)
    yield Commands(lines=(f"bedplate compile {spec} --out {quote(stage_text.stem(graph) + '.md')}",))


def _copies(graph: ChangeGraph) -> Iterator[Passage]:
    for node in graph.nodes:
        yield from (prose(sentence) for sentence in node.action.leaves)
    if whole(graph):
        yield (Said("The log of the script: "), Code(stage_text.log_file(graph)), Said("."))


def _later(graph: ChangeGraph) -> Iterator[Passage]:
    for node in graph.nodes:
        yield from (prose(sentence) for sentence in node.action.upkeep)
