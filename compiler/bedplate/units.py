"""Sizes as people write them. Enters: text such as `56GiB`, `500GB`, `25%`, `rest`. Leaves: a `Size`.

Binary prefixes (KiB, MiB, GiB, TiB) are powers of 1024 (IEC 80000-13), decimal ones (kB, MB, GB, TB) powers of
1000 (SI brochure, 9th edition, table 7); the two are never mixed up.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from attrs import frozen

if TYPE_CHECKING:
    from fractions import Fraction

KIB, MIB, GIB, TIB = 1 << 10, 1 << 20, 1 << 30, 1 << 40
"""Bytes in one unit of the binary prefixes."""

UNITS: dict[str, int] = {
    "B": 1,
    "KiB": KIB,
    "MiB": MIB,
    "GiB": GIB,
    "TiB": TIB,
    "kB": 1000,
    "MB": 1000**2,
    "GB": 1000**3,
    "TB": 1000**4,
}
"""Bytes in each unit a spec may use."""

_SIZE = re.compile(r"(\d+(?:\.\d+)?) ?([A-Za-z]+)", re.ASCII)
_SHARE = re.compile(r"(\d+(?:\.\d+)?) ?%", re.ASCII)

SIZE_PATTERN = r"^[0-9]+(\.[0-9]+)? ?[A-Za-z]+$"
"""The form of a size for JSON Schema; which units there are, `parse_size` says in better words."""
REQUEST_PATTERN = r"^([0-9]+(\.[0-9]+)? ?([A-Za-z]+|%)|rest)$"
"""The form of a size, a share or `rest`."""

ALLOWED = 'a size such as "56GiB", "512MiB" or "500GB"'
ALLOWED_REQUEST = ALLOWED + ', a share such as "25%", or "rest"'


@frozen
class Size:
    """A whole number of bytes, with the text it was written as."""

    bytes: int
    written: str

    def __str__(self) -> str:
        return self.written


@frozen
class Share:
    """A share of the room that is free before anything is placed, in percent (greater than 0, at most 100)."""

    percent: Fraction
    written: str

    def __str__(self) -> str:
        return self.written


@frozen
class Rest:
    """All the room that is left when everything else is placed."""

    written: str = "rest"

    def __str__(self) -> str:
        return self.written


Request = Size | Share | Rest
"""What a spec may ask of the layout."""


def parse_size(text: str) -> Size:
    """`text` as bytes, a part of a byte dropped. Raises ValueError with one sentence that names the right unit."""
    from fractions import Fraction

    match = _SIZE.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"a size is a number and a unit ({ALLOWED})")
    number, unit = match.groups()
    if unit not in UNITS:
        raise ValueError(f"unknown unit {unit}{_unit_hint(unit)}")
    whole = int(Fraction(number) * UNITS[unit])
    if whole == 0:
        raise ValueError("a size is at least one byte")
    return Size(whole, text)


def parse_request(text: str) -> Request:
    """`text` as a size, a share (`25%`) or `rest`. Raises ValueError with one sentence."""
    stripped = text.strip()
    if stripped == "rest":
        return Rest()
    match = _SHARE.fullmatch(stripped)
    if match is None:
        return parse_size(text)
    from fractions import Fraction

    percent = Fraction(match.group(1))
    if not 0 < percent <= 100:
        raise ValueError("a share is greater than 0 % and at most 100 %")
    return Share(percent, text)


def _unit_hint(unit: str) -> str:
    letter = unit[:1].upper()
    if letter in "KMGT" and unit.lower() in {letter.lower(), letter.lower() + "b", letter.lower() + "ib"}:
        decimal = "kB" if letter == "K" else letter + "B"
        return f"; write {letter}iB (1024) or {decimal} (1000)"
    return f"; known are {', '.join(UNITS)}"


def in_gib(count: int) -> str:
    """`count` bytes for people: `58.59 GiB`, `512 MiB`, `60 KiB`. Rounded half up, two decimals at most."""
    for unit, size in (("TiB", TIB), ("GiB", GIB), ("MiB", MIB), ("KiB", KIB)):
        if abs(count) >= size:
            hundredths = (abs(count) * 200 // size + 1) // 2
            whole, part = divmod(hundredths, 100)
            digits = f"{whole}.{part:02d}".rstrip("0").rstrip(".")
            return f"{'-' if count < 0 else ''}{digits} {unit}"
    return f"{count} B"


def counted(count: int, noun: str) -> str:
    """`1 disk`, `2 disks`: a number with its noun, of nouns that take an s."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def align_up(value: int, grain: int) -> int:
    """The smallest multiple of `grain` that is at least `value`."""
    return -(-value // grain) * grain


def align_down(value: int, grain: int) -> int:
    """The largest multiple of `grain` that is at most `value`."""
    return value // grain * grain
