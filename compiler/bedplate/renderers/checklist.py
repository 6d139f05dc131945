"""The checklist: the work as a form for a person at the bench. Enters: an `InstallGraph`. Leaves: Markdown.

What the machine will be, what is lost and kept, cautions, what to have at hand, then the stages, action by action.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bedplate.actions import Check
from bedplate.facts import Layout
from bedplate.graph import InstallGraph
from bedplate.renderers import content, diskmap, handover, overview, rescue
from bedplate.renderers.content import Code, Commands, Guards, Line, Loud, Part, Passage, Signs, Told
from bedplate.renderers.markdown import code, fenced, text


def render(graph: InstallGraph) -> str:
    """The whole checklist."""
    lines = [
        f"# {text(graph.machine.name)}: {'change' if graph.scene == 'change' else 'installation'} checklist",
        "",
        f"Made from the spec {code(graph.spec_file)}; digest {code(graph.digest[:16])}.",
        "",
        *["## What this machine will be", "", _line(overview.about(graph)), ""],
        *_disk(graph),
        *_cautions(graph),
        *["## What to have at hand", "", *(f"- {_line(line)}" for line in overview.at_hand(graph)), ""],
    ]
    for part in content.parts(graph):
        lines += _stage(part)
    keeping = "Fill it in, print it, and leave it with whoever keeps the machine."
    lines += _sheet("Hand-over sheet", keeping, handover.sheet(graph))
    keep = "Keep this with the machine. Every command is the one for this machine."
    lines += _sheet("Rescue sheet", keep, rescue.sheet(graph))
    return "\n".join(lines).rstrip("\n") + "\n"


def _line(line: Line) -> str:
    return "".join(map(_piece, line)).strip()


def _piece(piece: content.Said | Code | Loud) -> str:
    if isinstance(piece, Code):
        return code(piece.text)
    start, end = (" " if piece.text[:1] == " " else ""), (" " if piece.text[-1:] == " " and piece.text.strip() else "")
    shown = text(piece.text)
    return f"**{shown}**" if isinstance(piece, Loud) else f"{start}{shown}{end}"


# --- before the work ---------------------------------------------------------------------------------------------


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
    for title, rows in (("The disk before:", diskmap.before(layout)), ("The disk after:", diskmap.after(layout))):
        if rows:
            lines += [title, "", *fenced(rows, "text"), ""]
    return [*lines, fate.unit, ""]


def _cautions(graph: InstallGraph) -> list[str]:
    lines = []
    for caution in overview.cautions(graph):
        lines += [f"- {text(caution.says)}", *(f"  - {text(note)}" for note in caution.notes)]
    return ["## Cautions", "", *lines, ""]


# --- the stages --------------------------------------------------------------------------------------------------


def _stage(part: Part) -> list[str]:
    head = [f"## Stage {part.number}: {part.title}", ""]
    if not part.actions:
        return [*head, "Nothing to do here.", ""]
    script = f"The script does {part.span} by itself; here they stand to follow along, or to do by hand."
    blocks = [
        [part.where],
        [script] if part.by_script else [],
        *_passages(part.before),
        *(block for told in part.actions for block in _action(told)),
    ]
    return [*head, *(line for block in blocks if block for line in (*block, ""))]


def _action(told: Told) -> Iterator[list[str]]:
    action = told.action
    yield [f"- [ ] **{told.number}. {text(action.title)}**"]
    yield [f"Why: {text(action.reason)}"]
    yield from ([f"**Caution:** {text(caution)}"] for caution in action.cautions)
    yield from _guards(told.guards)
    if told.gathered:
        yield [f"Every {text(action.gathers)} that this machine needs ({len(told.gathered)}):"]
        yield fenced(content.wrapped(told.gathered), "text")
    yield from _passages(told.work)
    if told.secrets:
        yield [f"Type {', '.join(code(f'<{prompt}>') for prompt in told.secrets)} as the secret itself."]
    yield [f"Expected: {text(action.expected)}"] if action.expected else []
    yield [f"If it goes wrong: {text(action.trouble)}"] if action.trouble else []
    yield from _signs("How to know it worked:", told.proofs)
    yield from _signs("On the running machine, in the end:", told.audits)
    if told.back:
        yield [f"Way back: {'' if told.back.possible else '**cannot be undone.** '}{text(told.back.note)}"]
        yield from _passages(told.back.work)


def _guards(guards: Guards) -> Iterator[list[str]]:
    known = [f"- Still so: {_counted(count)} that action {number} asks for" for number, count in guards.known]
    if guards.new or known:
        yield ["Only begin if:"]
        yield [*known, *(f"- {text(check.says)}{_otherwise(check)}" for check in guards.new)]


def _counted(count: int) -> str:
    return "the thing" if count == 1 else f"the {count} things"


def _otherwise(check: Check) -> str:
    return f" (if not: {text(check.otherwise)})" if check.otherwise else ""


def _passages(passages: Iterable[Passage]) -> Iterator[list[str]]:
    for passage in passages:
        if isinstance(passage, Commands):
            yield fenced(passage.lines, "sh" if passage.shell else "text")
        else:
            yield [_line(passage)]


def _signs(title: str, signs: Signs) -> Iterator[list[str]]:
    if signs.says:
        yield [title]
        yield [f"- {text(says)}" for says in signs.says]
    if signs.looking:
        yield fenced(signs.looking)


def _sheet(title: str, keep: str, ways: Iterable[rescue.Rescue]) -> list[str]:
    lines: list[str] = []
    for way in ways:
        lines = lines or [f"## {title}", "", keep, ""]
        lines += [f"### {text(way.title)}", ""]
        lines += [line for block in _passages(way.steps) for line in (*block, "")]
    return lines
