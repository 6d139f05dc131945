"""Zone names against the IANA Time Zone Database as the machine has it (package tzdata: tzdata.zi, zone.tab)."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bedplate_steps.clock import time_zones

FOLDER = Path("/usr/share/zoneinfo")


def names(letter: str, column: int) -> set[str]:
    """Names on the lines of tzdata.zi that begin with that letter (zic(8): Z zone, L link)."""
    lines = (FOLDER / "tzdata.zi").read_text().splitlines()
    return {line.split()[column] for line in lines if line.startswith(f"{letter} ")}


DATABASE = names("Z", 1) | names("L", 2)
TABLES = {
    line.split("\t")[2].strip()
    for table in ("zone.tab", "zone1970.tab")
    for line in (FOLDER / table).read_text().splitlines()
    if not line.startswith("#")
}


def test_the_database_was_read() -> None:
    assert len(DATABASE) > 550
    assert len(TABLES) > 400


def test_every_current_name_is_in_the_database() -> None:
    """Names are added and become links over the years, but none is taken away (tz theory file, naming rules)."""
    assert time_zones.current() - DATABASE == set()
    assert set(time_zones.old()) - DATABASE == set()


def test_every_place_of_the_tables_is_a_current_name() -> None:
    first_line = (FOLDER / "tzdata.zi").read_text().splitlines()[0]
    version = first_line.removeprefix("# version ")
    missing = TABLES - time_zones.current()
    assert not missing or version > time_zones.VERSION, (
        f"tzdata {version} has places that {time_zones.VERSION} should have"
    )


def test_current_and_old_names_do_not_mix() -> None:
    assert time_zones.current() & set(time_zones.old()) == set()
    assert {name for name in time_zones.old().values() if name} <= time_zones.current()


def test_every_current_name_has_a_compiled_zone() -> None:
    """RFC 8536, section 3.1: a compiled zone begins with TZif."""
    assert [name for name in sorted(time_zones.current()) if (FOLDER / name).read_bytes()[:4] != b"TZif"] == []


def test_names_follow_the_naming_rules() -> None:
    """tz theory file, Timezone identifiers: parts of ASCII letters, `.`, `-` and `_`, at most 14 characters."""
    part = re.compile(r"(?!-)[A-Za-z._-]{1,14}")
    for name in time_zones.current():
        if not name.startswith("Etc/"):  # digits are for offsets there
            assert all(part.fullmatch(piece) for piece in name.split("/")), name


@pytest.mark.parametrize(
    ("old", "new"), [("US/Pacific", "America/Los_Angeles"), ("Asia/Calcutta", "Asia/Kolkata"), ("GB", "Europe/London")]
)
def test_old_names_point_to_the_same_zone(old: str, new: str) -> None:
    assert time_zones.old()[old] == new
    assert (FOLDER / old).read_bytes() == (FOLDER / new).read_bytes()
