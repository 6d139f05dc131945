"""The command `diff`: what changing a machine would take, and what has drifted since its survey.

Exit status after diff(1): 0 the same, 1 different, 2 trouble (faults in a spec included).
"""

from __future__ import annotations

import argparse
import posixpath
import sys

from bedplate.cli import commands
from bedplate.comparing.change_graph import change_graph
from bedplate.comparing.compare import compare
from bedplate.comparing.drift import drift
from bedplate.comparing.model import Diff, Planned
from bedplate.comparing.report import as_json, painted, plain, report
from bedplate.compiling import pipeline
from bedplate.faults import Fault, Rejected, ordered, visible
from bedplate.loading.registry import InstalledRenderer, Registry
from bedplate.reading import validation as checking
from bedplate.serialize import as_text


def diff(arguments: argparse.Namespace) -> int:
    """Compare two specs, or a new survey with a spec."""
    if arguments.survey is not None:
        if len(arguments.specs) != 1 or arguments.rendering != "report":
            return commands.usage("diff --survey NEWSURVEY takes one SPEC, and no --as")
        return _guarded(_drifted, arguments)
    if len(arguments.specs) != 2:
        return commands.usage("diff takes two specs, OLD and NEW")
    return _guarded(_compared, arguments)


def _guarded(run: object, arguments: argparse.Namespace) -> int:
    try:
        status: int = run(arguments)  # type: ignore[operator]
    except Rejected as rejected:
        commands.print_faults(ordered(rejected.faults))
        return 2
    return status


def _compared(arguments: argparse.Namespace) -> int:
    installed = commands.usable()
    rendering = "json" if arguments.format == "json" else arguments.rendering
    own = None if rendering in ("report", "json") else commands.renderer(rendering, installed)
    old, new = _both(arguments.specs, installed, arguments.also_from)
    found = compare(old, new, installed)
    text = _text(found, rendering, own, arguments)
    machine = new.graph.machine.name
    marks = own.renderer.marks if own else _MARKS[rendering]
    named = tuple(mark.replace("{machine}", machine) for mark in marks)
    status = commands.emit(text, arguments, named, executable=bool(own and own.renderer.executable))
    return status or (1 if found.changes else 0)


_MARKS = {
    "report": ("{machine}: from ", " to "),
    "json": ('{\n  "format": 1,\n  "old": ', '\n  "machine": "{machine}"'),
}
"""What shows that a file is an earlier report."""


def _both(names: list[str], installed: Registry, also: list[str]) -> tuple[Planned, Planned]:
    """Both specs; the faults of both together if either has any."""
    planned: list[Planned] = []
    faults: list[Fault] = []
    for name in names:
        try:
            checked, graph = commands.checked(name, installed, also)
            planned.append(Planned(checked=checked, graph=graph))
        except Rejected as rejected:
            faults.extend(rejected.faults)
    if faults:
        raise Rejected(faults)
    return planned[0], planned[1]


def _text(found: Diff, rendering: str, own: InstalledRenderer | None, arguments: argparse.Namespace) -> str:
    if own is not None:
        return pipeline.render(own, change_graph(found, partly=rendering != "script"))
    if rendering == "json":
        return as_json(found)
    colour = arguments.out is None and commands.coloured(sys.stdout)
    return report(found, places=arguments.places, paint=painted if colour else plain)


def _drifted(arguments: argparse.Namespace) -> int:
    graph = commands.checked(arguments.specs[0], commands.usable(), arguments.also_from)[1]
    survey = checking.structure_survey(commands.load_document(arguments.survey))
    lines = drift(graph, survey)
    if arguments.format == "json":
        text = as_text({"drift": list(lines)})
    elif lines:
        text = "".join(f"{visible(line)}\n" for line in lines)
    else:
        text = f"{posixpath.basename(arguments.survey)}: nothing has drifted.\n"
    return commands.emit(text, arguments) or (1 if lines else 0)
