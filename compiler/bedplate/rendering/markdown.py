"""Text inside Markdown. Enters: free text. Leaves: Markdown that shows exactly that text and nothing else.

CommonMark 0.31: any ASCII punctuation can be escaped with a backslash (2.4); a fence is longer than any run of
backquotes inside it (4.5).
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from bedplate import faults
from bedplate.rendering.quoting import visible

_INLINE = re.compile(r"[\\`*\[\]<>&|~]|(?<![A-Za-z0-9])_|_(?![A-Za-z0-9])")
_BLOCK = re.compile(r"^([#+=:-]|\d{1,9}(?=[.)]))")
_RUNS = re.compile(r"`+")


def text(words: str) -> str:
    """Free text as one line of Markdown, safe at the beginning of a block too."""
    return _BLOCK.sub(_set_off, inline(words.strip()))


def inline(words: str) -> str:
    """Free text that stands behind other text of its line. Blanks at its ends stay."""
    return _INLINE.sub(lambda sign: "\\" + sign.group(), visible(words))


def code(words: str) -> str:
    """Free text as a code span (CommonMark 6.1)."""
    shown = visible(words)
    ticks = "`" * (max((len(run) for run in _RUNS.findall(shown)), default=0) + 1)
    padding = " " if shown.startswith(("`", " ")) or shown.endswith(("`", " ")) or not shown else ""
    return f"{ticks}{padding}{shown}{padding}{ticks}"


def fenced(lines: Iterable[str], language: str = "sh") -> list[str]:
    """Lines as a code block, whatever they hold."""
    body = [faults.visible(line, keep="\t\n") for line in lines]
    longest = max((len(run) for line in body for run in _RUNS.findall(line)), default=0)
    fence = "`" * max(3, longest + 1)
    return [f"{fence}{language}", *body, fence]


def _set_off(match: re.Match[str]) -> str:
    found = match.group()
    return found + "\\" if found.isdigit() else "\\" + found
