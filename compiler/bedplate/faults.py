"""Faults: what is wrong with a spec, a survey or a plugin, as data. Text is made last, in one place.

Enters: fields. Leaves: one line of text, a block of text, or a JSON-ready mapping per fault.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache

from attrs import evolve, frozen

Path = tuple[str | int, ...]
"""Where in a document a fault lies: table keys and zero-based array indices, outermost first."""


@frozen(kw_only=True)
class Place:
    """A place in a file. `line` and `column` count from 1; 0 means the file as a whole."""

    file: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}" if self.line else self.file


@frozen(kw_only=True)
class Fault:
    """One thing that is wrong, or (with `warning`) one thing a person should know before going on."""

    code: str
    """Kebab-case name of the pattern found; stable for ever."""
    message: str
    """One sentence for a tired person."""
    path: Path = ()
    place: Place | None = None
    found: str | None = None
    """What stands there, as written."""
    allowed: str | None = None
    """What may stand there."""
    nearest: str | None = None
    """The nearest valid spelling, if one is near."""
    notes: tuple[str, ...] = ()
    """Further lines: the arithmetic, the choices, what to do next."""
    warning: bool = False

    def under(self, *prefix: str | int) -> Fault:
        """The same fault, its path placed below `prefix`."""
        return evolve(self, path=(*prefix, *self.path))

    def at(self, place: Place | None) -> Fault:
        """The same fault at `place`, unless it has a place already."""
        return self if self.place is not None else evolve(self, place=place)


class Rejected(Exception):
    """Raised by a stage that cannot go on. Carries every fault of that stage."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)

    def __str__(self) -> str:
        return "\n".join(describe(fault) for fault in self.faults)


def reject(code: str, message: str, **fields: object) -> Rejected:
    """A `Rejected` with one fault, ready to raise."""
    return Rejected([Fault(code=code, message=message, **fields)])  # type: ignore[arg-type]


def dotted(path: Path) -> str:
    """`("disk", "new", 1, "size")` as `disk.new[1].size`; keys that are not bare TOML keys are quoted."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part}]"
            continue
        bare = part.replace("-", "").replace("_", "").isalnum() and part.isascii()
        text += ("." if text else "") + (part if bare else shown(part))
    return text


def shown(text: str, limit: int = 60) -> str:
    """`text` in double quotes on one line: control characters escaped, at most `limit` characters of it."""
    cut = text if len(text) <= limit else text[:limit] + "..."
    for sign, escape in (("\\", "\\\\"), ('"', '\\"'), ("\n", "\\n"), ("\t", "\\t"), ("\r", "\\r")):
        cut = cut.replace(sign, escape)
    return f'"{visible(cut)}"'


def visible(text: str, keep: str = "") -> str:
    """`text` with every character that shows nothing, or changes how others are shown, as `\\uXXXX`: controls (C0 and
    C1), direction and zero-width signs, odd blanks. Those in `keep` stay. The one function for whatever is shown."""
    if text.isprintable():
        return text
    return "".join(sign if sign.isprintable() or sign in keep else escape(sign) for sign in text)


def escape(sign: str) -> str:
    """One character as TOML, JSON and Python write it in a string."""
    return f"\\u{ord(sign):04X}" if ord(sign) < 0x10000 else f"\\U{ord(sign):08X}"


def nearest(word: str, choices: Iterable[str]) -> str | None:
    """The choice whose spelling is nearest to `word`, or None if none is near. Ties go to the first in order."""
    return _nearest(word.casefold(), tuple(sorted(choices)))


@lru_cache(maxsize=1 << 16)
def _nearest(word: str, choices: tuple[str, ...]) -> str | None:
    """Cached: of a spec with many faults the same word is asked for by more than one check."""
    import difflib

    folded = _folded(choices)
    hits = difflib.get_close_matches(word, list(folded), n=1, cutoff=0.6)
    return folded[hits[0]] if hits else None


@lru_cache(maxsize=256)
def _folded(choices: tuple[str, ...]) -> dict[str, str]:
    return {choice.casefold(): choice for choice in reversed(choices)}


def ordered(faults: Iterable[Fault]) -> tuple[Fault, ...]:
    """Faults sorted by place, then path, then code, each kept once."""
    unique = dict.fromkeys(faults)
    return tuple(sorted(unique, key=_order))


def _order(fault: Fault) -> tuple[object, ...]:
    place = fault.place or Place(file="")
    return (place.file, place.line, place.column, [str(part) for part in fault.path], fault.code, fault.message)


def describe(fault: Fault) -> str:
    """The fault as text: one line `place: path: message`, then indented lines for what was found and allowed."""
    head = ": ".join(part for part in (str(fault.place or ""), dotted(fault.path), fault.message) if part)
    lines = [f"{'warning: ' if fault.warning else ''}{head} [{fault.code}]"]
    for word, value in (("found", fault.found), ("allowed", fault.allowed), ("nearest", fault.nearest)):
        if value is not None:
            lines.append(f"    {word + ':':<9}{value}")
    lines.extend(f"    {note}" for note in fault.notes)
    return visible("\n".join(lines), keep="\n")


def as_json(fault: Fault) -> dict[str, object]:
    """The fault for other programs: plain values only, every key always there."""
    place = fault.place or Place(file="")
    return {
        "code": fault.code,
        "severity": "warning" if fault.warning else "fault",
        "file": place.file or None,
        "line": place.line or None,
        "column": place.column or None,
        "path": dotted(fault.path),
        "message": fault.message,
        "found": fault.found,
        "allowed": fault.allowed,
        "nearest": fault.nearest,
        "notes": list(fault.notes),
    }


def one_of(choices: Sequence[str]) -> str:
    """`a, b or c`, for the `allowed` field."""
    if len(choices) < 2:
        return "".join(choices)
    return ", ".join(choices[:-1]) + " or " + choices[-1]
