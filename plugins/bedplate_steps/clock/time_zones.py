"""Names of time zones, so that a spec can be judged on any machine. Enters: a name. Leaves: what is known of it.

Source: the IANA Time Zone Database, in the package tzdata. The names of zone.tab and zone1970.tab and of the area Etc
are current, and UTC; every other name of the database is kept for old programs only.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files


@cache
def current() -> frozenset[str]:
    """Every current name."""
    rows = [row for table in ("zone.tab", "zone1970.tab") for row in _lines(table) if not row.startswith("#")]
    return frozenset({"UTC", *(row.split("\t")[2] for row in rows), *(name for name in _all() if name[:4] == "Etc/")})


@cache
def old() -> dict[str, str]:
    """Old names with the current one that stands for the same zone; empty text where there is none."""
    return {name: stands for name, stands in _all().items() if name not in current() and name != "Factory"}


@cache
def _all() -> dict[str, str]:
    """Every name, with the one it is a link to: zic(8), lines that begin with Z and L."""
    rows = [row.split() for row in _lines("tzdata.zi") if row[:2] in ("Z ", "L ")]
    return {row[1]: "" for row in rows if row[0] == "Z"} | {row[2]: row[1] for row in rows if row[0] == "L"}


def _lines(file: str) -> list[str]:
    return (files("tzdata") / "zoneinfo" / file).read_text(encoding="utf-8").splitlines()
