"""The capture file: sections of raw tool output, each line marked. Enters: text. Leaves: a `Capture`.

`== SUBJECT [OF WHAT]` begins a section, `| ` a line of content, `!! ` a sentence about what could not be read.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from attrs import field, frozen

from bedplate.faults import reject, shown

HEAD = "bedplate-capture 1"
"""First line of a capture of the version this reads."""


@frozen(kw_only=True)
class Capture:
    """Sections by subject and what they are of (`("table", "/dev/sda")`), and notes in the order they were made."""

    sections: Mapping[tuple[str, str], str] = field(hash=False)
    notes: tuple[str, ...] = ()

    def text(self, subject: str, of: str = "") -> str:
        """The content of a section; empty if the capture has none."""
        return self.sections.get((subject, of), "")

    def each(self, subject: str) -> tuple[str, ...]:
        """What the sections of that subject are of, in the order of the capture."""
        return tuple(of for name, of in self.sections if name == subject)

    def data(self, subject: str, of: str = "") -> Any:
        """The content of a section as JSON; None if there is none or it cannot be read as JSON."""
        try:
            return json.loads(self.text(subject, of))
        except (ValueError, RecursionError):
            return None

    def facts(self, subject: str, of: str = "") -> dict[str, str]:
        """The content of a section that holds `KEY=VALUE` lines, blanks around values cut off."""
        pairs = (line.partition("=") for line in self.text(subject, of).split("\n"))
        return {key: value.strip() for key, sign, value in pairs if sign}


def read(text: str) -> Capture:
    """`text` as a capture. Raises Rejected if it is none, of another version, or breaks off before its end."""
    lines = text.replace("\r\n", "\n").split("\n")
    if lines[0].strip() != HEAD:
        raise reject(
            "not-a-capture",
            "this is not a capture that `bedplate survey --collector` made",
            found=shown(lines[0]),
            allowed=f"a file whose first line is {HEAD}",
        )
    capture, ended = _sections(lines[1:])
    if not ended:
        raise reject(
            "capture-cut-off",
            "the capture breaks off before its end",
            allowed="a whole file, whose last line is == end",
            notes=("Make the capture again, and look for room on the medium it is written to.",),
        )
    return capture


def _sections(lines: list[str]) -> tuple[Capture, bool]:
    contents: dict[tuple[str, str], list[str]] = {}
    notes: list[str] = []
    current: list[str] = []
    for line in lines:
        if line.startswith("== "):
            subject, _, of = line[3:].strip().partition(" ")
            current = contents.setdefault((subject, of), [])
        elif line.startswith("| "):
            current.append(line[2:])
        elif line.startswith("!! "):
            notes.append(" ".join(line[3:].split()))
    sections = {key: "\n".join(content) for key, content in contents.items()}
    return Capture(sections=sections, notes=tuple(notes)), ("end", "") in sections
