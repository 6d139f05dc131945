"""The page as text. Enters: an `InstallGraph`. Leaves: one HTML file that asks nothing of any network.

Words come from `overview` and `stage_text`, shared with the checklist; the template only places them. Every value is
escaped by Jinja; style and script are of this package and named by their hashes in the page's own policy
(Content Security Policy Level 3, W3C), so that no text of a spec could ever run.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable
from importlib.resources import files

from attrs import frozen
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from bedplate.actions import ByHand
from bedplate.facts import Layout
from bedplate.install_graph import InstallGraph
from bedplate.rendering import change_summary, disk_map, disk_segments, live_instructions, overview, stage_text
from bedplate.rendering.disk_segments import Segment
from bedplate.rendering.modes import mode
from bedplate.rendering.page import disk_picture, graph_picture
from bedplate.rendering.quoting import quote, visible
from bedplate.rendering.sheets import sheets
from bedplate.rendering.stage_text import Code, Commands, Loud, Passage, Said
from bedplate.units import in_gib

_WIDE, _NARROW = 940, 320
_BLANKS = re.compile(r"([ \t]+)")


@frozen(kw_only=True)
class Row:
    """A segment of the disk in words, for the table under the picture."""

    number: str
    name: str
    size: str
    holds: str
    fate: str
    becomes: str
    start: int
    end: int


def render(graph: InstallGraph) -> str:
    """The whole page."""
    layout = graph.fact(Layout)
    style, script = _own("page.css"), _own("page.js")
    parts = stage_text.parts(graph)
    text = (
        _environment()
        .get_template("page.html")
        .render(
            graph=graph,
            secrets=graph.secrets,
            style=Markup(style),
            script=Markup(script),
            policy=f"default-src 'none'; img-src data:; style-src {_hash(style)}; script-src {_hash(script)}",
            about=overview.about(graph),
            fate=overview.fate(graph),
            done=overview.done(graph),
            left_out=overview.left_out(graph),
            partly=change_summary.PARTLY,
            kind=mode(graph).kind,
            heading=mode(graph).heading,
            origin=overview.origin(graph),
            maps=[disk_picture.picture(layout, width) for width in (_WIDE, _NARROW)] if layout else [],
            tables=_tables(layout) if layout else [],
            cautions=overview.cautions(graph),
            at_hand=overview.at_hand(graph),
            parts=parts,
            by_script=[part.number for part in parts if part.by_script and part.actions],
            script_file=live_instructions.script_file(graph),
            script_path=quote(live_instructions.script_path(graph)),
            mount_stick=mode(graph).mount,
            make_script=live_instructions.make(graph),
            waits=[
                node.number for node in graph.nodes if any(isinstance(one, ByHand) for one in node.action.operations)
            ],
            picture=graph_picture.picture(parts),
            sheets=sheets(graph),
        )
    )
    return text + "\n"


def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("bedplate.rendering.page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(line=_line, prose=_prose, visible=visible, lines=_lines)
    made.globals.update(how_to_ask=stage_text.HOW_TO_ASK, by_script_alone=stage_text.SCRIPT_ALONE)
    made.tests["commands"] = lambda passage: isinstance(passage, Commands)
    return made


def _own(name: str) -> str:
    return (files("bedplate.rendering.page") / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _line(passage: Passage) -> Markup:
    """A paragraph with its exact and its loud words marked up."""
    return Markup("").join(_piece(piece) for piece in passage) if isinstance(passage, tuple) else Markup("")


def _prose(words: str) -> Markup:
    return _line(stage_text.prose(words))


def _piece(piece: Said | Code | Loud) -> Markup:
    shape = {Code: "<code>{}</code>", Loud: "<strong>{}</strong>"}.get(type(piece), "{}")
    return Markup(shape).format(visible(piece.text))


def _lines(commands: Iterable[str]) -> list[list[str]]:
    """Single lines to type, each as its words and blanks; what cannot be printed is shown as what it is."""
    every = [line for command in commands for line in command.split("\n")]
    return [_BLANKS.split("\t".join(visible(part) for part in line.split("\t"))) for line in every]


def _tables(layout: Layout) -> list[tuple[str, list[Row]]]:
    staying = {part.uuid: part for part in disk_segments.kept(layout)}
    before = [_row(layout, one, disk_map.fate(one, staying, layout)) for one in disk_segments.before(layout)]
    after = [_row(layout, one, disk_map.use(one)) for one in disk_segments.after(layout)]
    return [(title, rows) for title, rows in (("Before", before), ("After", after)) if rows]


def _row(layout: Layout, segment: Segment, becomes: str) -> Row:
    part = segment.part
    return Row(
        number=str(part.number) if part else "",
        name=visible(part.name) if part else "free space",
        size=in_gib(segment.size * layout.sector_size),
        holds=disk_map.holds(segment) if part else "",
        fate=segment.fate.value,
        becomes=becomes,
        start=segment.start,
        end=segment.end,
    )
