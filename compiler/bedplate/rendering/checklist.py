"""The checklist: the work as a form for a person at the bench. Enters: an `InstallGraph`. Leaves: Markdown.

What the machine will be, what is lost and kept, cautions, what to have at hand, then the stages, action by action.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bedplate.facts import Layout
from bedplate.install_graph import InstallGraph
from bedplate.rendering import change_summary, disk_map, live_instructions, overview, stage_text
from bedplate.rendering.markdown import code, fenced, inline, text
from bedplate.rendering.modes import mode
from bedplate.rendering.sheets import Sheet, sheets
from bedplate.rendering.stage_text import (
    ActionText,
    Asked,
    Code,
    Commands,
    Guards,
    Line,
    Loud,
    Part,
    Passage,
    Said,
    Signs,
)


def render(graph: InstallGraph) -> str:
    """The whole checklist."""
    lines = [
        f"# {text(graph.machine.name)}: {mode(graph).kind} checklist",
        "",
        _line(overview.origin(graph)),
        "",
        *[f"## {mode(graph).heading}", "", _line(overview.about(graph)), ""],
        *_change_summary(graph),
        *_disk(graph),
        *_cautions(graph),
        *_at_hand(graph),
        *["## Words", "", *(f"- **{text(word)}**: {_prose(says)}" for word, says in mode(graph).glossary), ""],
    ]
    parts = stage_text.parts(graph)
    first = next((part for part in parts if part.stage in stage_text.BY_SCRIPT and part.actions), None)
    for part in parts:
        lines += _stage(part, tuple(_ways(graph, parts)) if part is first else ())
    for sheet in sheets(graph):
        lines += _sheet(sheet)
    return "\n".join(lines).rstrip("\n") + "\n"


def _prose(words: str) -> str:
    return _line(stage_text.prose(words))


def _line(line: Line) -> str:
    first, *others = line or (Said(""),)
    start = text(first.text) + " " * first.text.endswith(" ") if isinstance(first, Said) else _piece(first)
    return (start + "".join(map(_piece, others))).strip()


def _piece(piece: Said | Code | Loud) -> str:
    match piece:
        case Code():
            return code(piece.text)
        case Loud():
            return f"**{text(piece.text)}**"
        case Said():
            return inline(piece.text)


# --- before the work ---------------------------------------------------------------------------------------------


def _change_summary(graph: InstallGraph) -> list[str]:
    """What a change does, and what it leaves out."""
    lines = [f"- {_prose(says)}" for says in overview.done(graph)]
    lines += [""] if lines else []
    left = overview.left_out(graph)
    return [
        *lines,
        *(
            ["## What this leaves out", "", f"**{text(change_summary.PARTLY)}**", "", *_cautioned(left), ""]
            if left
            else []
        ),
    ]


def _disk(graph: InstallGraph) -> list[str]:
    fate, layout = overview.fate(graph), graph.fact(Layout)
    if fate is None or layout is None:
        return []
    lines = ["## What is erased and what is kept", ""]
    if fate.whole_disk:
        lines += [f"**The whole disk is taken: everything on {text(fate.disk)} is lost.**", ""]
    for title, parts in (("**Erased for good:**", fate.lost), ("Kept:", fate.kept)):
        if parts:
            lines += [title, "", *(f"- {text(part)}" for part in parts), ""]
    if not fate.lost and not fate.whole_disk:
        lines += ["No partition is erased.", ""]
    for title, rows in (("The disk before:", disk_map.before(layout)), ("The disk after:", disk_map.after(layout))):
        if rows:
            lines += [title, "", *fenced(rows, "text"), ""]
    return [*lines, fate.unit, ""]


def _cautions(graph: InstallGraph) -> list[str]:
    return ["## Cautions", "", *_cautioned(overview.cautions(graph)), ""]


def _cautioned(cautions: Iterable[overview.Caution]) -> list[str]:
    lines = []
    for caution in cautions:
        lines += [f"- {_prose(caution.says)}", *(f"  - {_prose(note)}" for note in caution.notes)]
    return lines


def _at_hand(graph: InstallGraph) -> list[str]:
    lines = [*overview.at_hand(graph)]
    if not overview.left_out(graph) and any(graph.stage(stage) for stage in stage_text.BY_SCRIPT):
        lines.append(live_instructions.script_at_hand(graph))
    return ["## What to have at hand", "", *(f"- {_line(line)}" for line in lines), ""]


# --- the stages --------------------------------------------------------------------------------------------------


def _ways(graph: InstallGraph, parts: tuple[Part, ...]) -> Iterator[Passage]:
    yield from live_instructions.choose(graph, parts)
    yield from live_instructions.tools_test(graph, parts)


def _stage(part: Part, ways_through: tuple[Passage, ...]) -> list[str]:
    head = [f"## Stage {part.number}: {part.title}, {text(part.here)}", ""]
    if not part.actions:
        return [*head, "Nothing to do here.", ""]
    blocks = [
        [f"- [ ] I am at {text(part.here)}"],
        [part.where],
        [f"The script does {part.span}."] if part.by_script and not ways_through else [],
        *_passages(ways_through),
        *_passages(part.before),
        *(block for told in part.actions for block in _action(told)),
    ]
    return [*head, *(line for block in blocks if block for line in (*block, ""))]


def _action(told: ActionText) -> Iterator[list[str]]:
    action = told.action
    yield [f"- [ ] **{told.number}. {_prose(action.title)}**"]
    yield [f"Why: {_prose(action.reason)}"]
    yield from ([f"**Caution:** {_prose(caution)}"] for caution in action.cautions)
    yield from ([f"This {touch.does.value} {_prose(touch.what)}."] for touch in action.touches)
    yield from _guards(told.guards)
    if told.gathered:
        yield [f"Every {text(action.gathers)} that this machine needs ({len(told.gathered)}):"]
        yield fenced(stage_text.wrapped(told.gathered), "text")
    yield from _passages(told.work)
    yield [f"Expected: {_prose(action.expected)}"] if action.expected else []
    yield [f"If it goes wrong: {_prose(action.trouble)}"] if action.trouble else []
    yield from _signs("How to know it worked:", told.proofs)
    yield from _signs("On the running machine, in the end:", told.audits)
    if told.back:
        yield [f"Way back: {'' if told.back.possible else '**cannot be undone.** '}{_prose(told.back.note)}"]
        yield from _passages(told.back.work)


def _guards(guards: Guards) -> Iterator[list[str]]:
    known = [f"- Still so: {places} of action {number}" for number, places in guards.known]
    if guards.new or known:
        yield [f"Only begin if ({stage_text.HOW_TO_ASK}):"]
        yield [*known, *(f"- {_asked(one)}" for one in guards.new)]


def _asked(one: Asked) -> str:
    told = "".join((_prose(line[2:]) if line.startswith("# ") else code(line)) + after for line, after in one.steps)
    how = f": {told}" if told else f" ({stage_text.SCRIPT_ALONE})"
    return f"{one.label} {_prose(one.says)}{how}" + (f". If not: {_prose(one.otherwise)}" if one.otherwise else "")


def _passages(passages: Iterable[Passage]) -> Iterator[list[str]]:
    for passage in passages:
        if isinstance(passage, Commands):
            yield fenced(passage.lines, "sh" if passage.shell else "text")
        else:
            yield [_line(passage)]


def _signs(title: str, signs: Signs) -> Iterator[list[str]]:
    if signs.says:
        yield [title]
        yield [f"- {_prose(says)}" for says in signs.says]
    yield from _passages(signs.passages)


def _sheet(sheet: Sheet) -> list[str]:
    lines = [f"## {sheet.title}", "", sheet.keep, ""]
    for way in sheet.parts:
        lines += [f"### {text(way.title)}", ""]
        lines += [line for block in _passages(way.steps) for line in (*block, "")]
    return lines
