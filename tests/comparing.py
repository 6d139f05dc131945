"""Specs made from an example machine by small edits, planned in memory, for the tests of the comparison."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path

from bedplate.comparing.compare import compare
from bedplate.comparing.model import Diff, Planned
from bedplate.compiling import pipeline
from bedplate.loading.registry import Registry, load
from bedplate.reading.document import read

ROOT = Path(__file__).resolve().parent.parent
BASE = (ROOT / "specs" / "kelp-02.toml").read_text(encoding="utf-8")

Edit = tuple[str, str]
"""A text of the spec and what stands there instead; an empty first text appends the second."""


@cache
def registry() -> Registry:
    """The installed steps."""
    return load()


def edited(edits: Iterable[Edit], text: str = BASE) -> str:
    """The example machine's spec with these edits. Fails if a text is not there exactly once."""
    for old, new in edits:
        if not old:
            text += "\n" + new
            continue
        assert text.count(old) == 1, f"{old!r} stands there {text.count(old)} times"
        text = text.replace(old, new)
    return text


def planned(text: str, name: str = "new", known: Registry | None = None) -> Planned:
    """The spec `text` as if it lay beside the examples under that name."""
    file = str(ROOT / "specs" / f"{name}.toml")

    def reader(path: str) -> bytes:
        return text.encode() if path == file else Path(path).read_bytes()

    document = read(file, reader)
    checked = pipeline.check_spec(document, known or registry(), lambda path: read(path, reader))
    return Planned(checked=checked, graph=pipeline.plan(checked, f"{name}.toml"))


def compared(old: Iterable[Edit], new: Iterable[Edit], known: Registry | None = None) -> Diff:
    """The comparison of two edited example machines."""
    sides = planned(edited(old), "old", known), planned(edited(new), "new", known)
    return compare(*sides, known or registry())


def said(diff: Diff) -> list[tuple[str, str]]:
    """What a comparison says, with the classes."""
    return [(one.change.says, one.change.cost.value) for one in diff.changes]
