"""Zone names against the IANA Time Zone Database as the machine has it (package tzdata: tzdata.zi, zone.tab)."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import tzdata

from bedplate_steps.clock import time_zones

FOLDER = Path("/usr/share/zoneinfo")


def names(letter: str, column: int) -> set[str]:
    """Names on the lines of tzdata.zi that begin with that letter (zic(8): Z zone, L link)."""
    lines = (FOLDER / "tzdata.zi").read_text().splitlines()
    return {line.split()[column] for line in lines if line.startswith(f"{letter} ")}


VERSION = (FOLDER / "tzdata.zi").read_text().splitlines()[0].removeprefix("# version ")
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


def test_the_names_are_those_of_the_machine_s_own_database() -> None:
    """Names are added and become links over the years, but none is taken away (tz theory file, naming rules): of two
    versions the older one's names are all among the newer one's."""
    known, version = time_zones.current() | set(time_zones.old()), VERSION
    assert version < tzdata.IANA_VERSION or known <= DATABASE
    assert version > tzdata.IANA_VERSION or DATABASE - {"Factory"} <= known
    assert version != tzdata.IANA_VERSION or time_zones.current() >= TABLES


def test_current_and_old_names_do_not_mix() -> None:
    assert time_zones.current() & set(time_zones.old()) == set()
    assert {name for name in time_zones.old().values() if name} <= time_zones.current()


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
