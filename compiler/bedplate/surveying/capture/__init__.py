"""Captures become surveys. Enters: the text `collector.sh` prints. Leaves: a `Survey`, or its TOML.

Nothing here runs or reads a machine: the same capture gives the same survey, anywhere.
"""

from __future__ import annotations

from importlib.resources import files

from bedplate.faults import reject, shown
from bedplate.survey import Survey
from bedplate.surveying.capture import boot, disks, links, machine
from bedplate.surveying.capture.sections import Capture, read
from bedplate.surveying.capture.survey_toml import to_toml

__all__ = ["SCRIPT_MARKS", "collect_script", "survey_from", "to_toml"]


SCRIPT_MARKS = ("#!/bin/sh\n# collector.sh [DISK...]: gathers what a survey is made from",)
"""What shows that a file is an earlier copy of the collector."""


def collect_script() -> str:
    """The POSIX script that makes a capture; it takes the disks to look at as arguments, or looks at all."""
    return (files("bedplate.surveying") / "collector.sh").read_text(encoding="utf-8")


def survey_from(text: str) -> Survey:
    """The survey of the machine that `text` was captured on. Raises Rejected if `text` is no whole capture, or if a
    tool's output in it has a shape that cannot be read."""
    capture = read(text)
    try:
        return _survey(capture)
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        raise reject(
            "capture-damaged",
            "the capture holds tool output of a shape that cannot be read",
            notes=(f"{type(error).__name__}: {shown(str(error))}", "Make the capture again; it must not be edited."),
        ) from error


def _survey(capture: Capture) -> Survey:
    found = disks.all_disks(capture)
    described = machine.described(capture)
    return Survey(
        taken=machine.moment(capture.text("taken")),
        machine=described,
        firmware=boot.firmware(capture),
        disks=found,
        links=links.links(capture),
        notes=(*capture.notes, *_known_trouble(capture, described.pci, bool(found))),
    )


def _known_trouble(capture: Capture, pci: tuple[str, ...], any_disk: bool) -> list[str]:
    """Sentences about what the capture as a whole means."""
    notes = links.doubts(capture)
    if any(device.startswith("0104 ") for device in pci):
        hidden = "" if any_disk else ", and no disk was found"
        notes.append(
            f"A storage controller is in RAID mode{hidden}: disks behind it may be hidden from this system. Do not"
            " switch the mode in passing: the other system may not start afterwards."
        )
    return notes
