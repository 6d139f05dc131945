"""The sheets that are kept with the machine. Enters: an `InstallGraph`. Leaves: titles and passages."""

from __future__ import annotations

from attrs import frozen

from bedplate.install_graph import ChangeGraph, InstallGraph
from bedplate.rendering import change_summary, handover_sheet, rescue_sheet
from bedplate.rendering.rescue_sheet import Rescue


@frozen(kw_only=True)
class Sheet:
    """One sheet; without parts it is left out."""

    name: str
    """A word for anchors."""
    title: str
    keep: str
    """What is done with it."""
    parts: tuple[Rescue, ...]


def sheets(graph: InstallGraph) -> tuple[Sheet, ...]:
    """The sheets of an installation, or the one of a change."""
    leave = "Fill it in, print it, and leave it with whoever keeps the machine."
    keep = "Keep this with the machine. Every command is the one for this machine."
    found: tuple[Sheet, ...]
    if isinstance(graph, ChangeGraph):
        title = "Hand-over sheet of the change"
        found = (Sheet(name="handover", title=title, keep=leave, parts=change_summary.sheet(graph)),)
    else:
        found = (
            Sheet(name="handover", title="Hand-over sheet", keep=leave, parts=handover_sheet.sheet(graph)),
            Sheet(name="rescue", title="Rescue sheet", keep=keep, parts=rescue_sheet.sheet(graph)),
        )
    return tuple(sheet for sheet in found if sheet.parts)
