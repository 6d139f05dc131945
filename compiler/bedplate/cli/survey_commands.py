"""The commands `survey` and `draft`: what a machine is, and a first spec for it.

Enters: a capture or a survey. Leaves: a survey or a spec; what a person should know of it goes to standard error.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from attrs import evolve

from bedplate.cli import commands, files
from bedplate.faults import Place, Rejected, visible
from bedplate.hookspecs import Step
from bedplate.loading import registry
from bedplate.loading.plugin_errors import call
from bedplate.reading import document
from bedplate.reading import validation as checking
from bedplate.survey import Survey

CAPTURE_LIMIT = 64 * 1024 * 1024
"""The largest capture that is read, bytes."""


def survey(arguments: argparse.Namespace) -> int:
    """The survey of this machine or of a capture; or the collector itself."""
    from bedplate.surveying import capture

    if arguments.collector:
        return commands.emit(capture.collect_script(), arguments, capture.SCRIPT_MARKS, executable=True)
    if commands.in_the_way(arguments):
        return 2
    try:
        surveyed = capture.survey_from(_capture_text(arguments.capture, capture.collect_script))
        text = capture.to_toml(surveyed)
        _looked_through(text)
    except Rejected as rejected:
        place = Place(file={None: "this machine", "-": "standard input"}.get(arguments.capture, arguments.capture))
        return commands.refused(Rejected(fault.at(place) for fault in rejected.faults))
    return commands.emit(text, arguments) or _print_summary(surveyed)


def _looked_through(text: str) -> None:
    """Raise Rejected where a capture says what no tool prints, such as a UUID with blanks in it. Its place is a path of
    the survey: the capture has no such line."""
    try:
        checking.structure_survey(document.parse("survey", text.encode()))
    except Rejected as rejected:
        raise Rejected(evolve(fault, place=None) for fault in rejected.faults) from None


def _print_summary(surveyed: Survey) -> int:
    """Say what a person should know of a survey before anything is made from it; 1 if something stands against it."""
    from bedplate.surveying import summary

    troubles = list(summary.troubles(surveyed))
    words = [f"note: {note}" for note in summary.notes(surveyed)] + [f"TROUBLE: {trouble}" for trouble in troubles]
    for line in (*words, summary.summary(surveyed)):
        print(f"bedplate: {visible(line)}", file=sys.stderr)
    return 1 if troubles else 0


def _capture_text(name: str | None, script: Callable[[], str]) -> str:
    if name is None:
        ran = subprocess.run(["sh", "-s"], input=script().encode(), stdout=subprocess.PIPE, check=False)
        if ran.returncode not in (0, 1):  # 1: done, but not as root; the survey itself tells
            message = f"the collector stopped with exit status {ran.returncode}; its words stand above"
            raise SystemExit(commands.usage(message))
        return ran.stdout.decode(errors="replace")
    return files.read_capture(name, CAPTURE_LIMIT).decode(errors="replace")


def draft(arguments: argparse.Namespace) -> int:
    """A commented first spec."""
    from bedplate.surveying import draft as drafting

    if commands.in_the_way(arguments):
        return 2
    try:
        surveyed = checking.structure_survey(commands.load_document(arguments.survey))
        disk = drafting.asked(surveyed, arguments.disk) if arguments.disk else None
        steps = {section: _guarded(own) for section, own in commands.usable().steps.items()}
        base = os.path.dirname(arguments.out) if arguments.out else "."
        survey_path = os.path.relpath(arguments.survey, base or ".")
        name = arguments.name or drafting.host_name(Path(arguments.survey).name.split(".", 1)[0])
        text = visible(drafting.draft(surveyed, steps, name=name, survey_path=survey_path, disk=disk), keep="\t\n")
    except Rejected as rejected:
        return commands.refused(rejected)
    if status := commands.emit(text, arguments):
        return status
    if survey_path.startswith(("../", "/")):
        print(
            f"bedplate: note: the survey lies outside the spec's folder: `bedplate check` wants to be told so, "
            f"with --also-from {os.path.dirname(arguments.survey) or '.'}",
            file=sys.stderr,
        )
    if not arguments.name:
        print(f"bedplate: note: named {name} after the file of the survey; --name gives another", file=sys.stderr)
    return _print_summary(surveyed)


def _guarded(own: registry.InstalledStep) -> Step:
    """The step, its draft's crash put into words."""
    suggest = own.step.draft
    if suggest is None:
        return own.step
    doing = f"drafting [{own.step.section}]"
    return evolve(own.step, draft=lambda survey, disk: call(own.origin, doing, suggest, survey, disk))
