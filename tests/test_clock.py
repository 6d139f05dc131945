"""The clock step: faults, actions, and its runtime verbs under three shells."""

from __future__ import annotations

import os
import subprocess
import time
import tomllib
from collections.abc import Mapping
from email.utils import formatdate
from pathlib import Path
from typing import Any, TypeVar

import pytest
from attrs import field, frozen

import bedplate_schema
from bedplate.actions import Action, ByHand, InTarget, Link, Stage, WriteFile
from bedplate.facts import Family, LaidPartition, Layout
from bedplate.faults import Fault, Place, dotted
from bedplate.reading.schema_errors import schema_faults
from bedplate.reading.structuring import structured
from bedplate.spec import Machine
from bedplate.survey import Survey, SurveyedDisk, SurveyedFileSystem, SurveyedPartition
from bedplate.testing.function_runner import SHELLS
from bedplate.testing.function_runner import function_script as script
from bedplate.testing.function_runner import run_function as run
from bedplate_steps.clock import bedplate_steps
from bedplate_steps.clock.draft import draft
from bedplate_steps.clock.model import Clock
from family_records import record

T = TypeVar("T")
[STEP] = bedplate_steps()
ZONE = 'zone = "Europe/Berlin"\n'
FACTORY = LaidPartition(
    name="factory", new=False, number=3, start=0, size=1, type="", uuid="F", role="system", filesystem="ntfs"
)
NEEDS_ROOT = pytest.mark.skipif(os.geteuid() != 0, reason="mounting needs root")


@frozen(kw_only=True)
class Around:
    """A context with one package family and a layout, perhaps with another system."""

    machine: Machine = field(factory=lambda: Machine(name="kelp-02"))
    survey: Survey | None = None
    family: str = "apt"
    others: tuple[str, ...] = ()

    def has(self, kind: type[object]) -> bool:
        return kind in (Layout, Family)

    def of_family(self, kind: type[T]) -> T:
        return record(self.family, kind)

    def fact(self, kind: type[T]) -> T:
        facts: Mapping[type, object] = {
            Layout: Layout(
                disk_words="",
                serial="",
                size_bytes=1,
                sector_size=512,
                table_id="",
                whole_disk=False,
                first_lba=34,
                last_lba=99,
                partitions=(FACTORY,),
                other_systems=self.others,
            ),
            Family: Family(
                name=self.family,
                architecture="amd64",
                rebuild_initramfs=(),
                packages={"tzdata": ("tzdata",), "time-sync-timesyncd": ("sd",), "time-sync-chrony": ("chrony",)},
            ),
        }
        found = facts[kind]
        assert isinstance(found, kind)
        return found


def section(text: str) -> Clock:
    data: dict[str, Any] = tomllib.loads(text)
    if schema_faults(bedplate_schema.load("clock"), data, lambda path, key=False: Place(file="spec")):
        raise ValueError("refused by the schema")
    return structured(data, Clock)


def faults(text: str, around: Around | None = None) -> list[Fault]:
    assert STEP.validate is not None
    return list(STEP.validate(section(text), around or Around()))


def actions(text: str, around: Around | None = None) -> dict[str, Action]:
    return {action.id: action for action in STEP.emit(section(text), around or Around())}


# --- schema and faults -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        'zone = "../../etc/shadow"',
        'zone = "Europe/Berlin\\n"',
        'zone = "$(date)"',
        ZONE + 'hardware_clock = "localtime"',
        ZONE + 'servers = ["a b"]',
        ZONE + 'servers = ["-f"]',
        ZONE + "servers = []",
        ZONE + 'ntp = "x"',
        'sync = "none"',
    ],
)
def test_the_schema_refuses(text: str) -> None:
    with pytest.raises(ValueError, match="refused"):
        section(text)


@pytest.mark.parametrize(
    ("zone", "near"), [("Europe/Berlim", "Europe/Berlin"), ("europe/berlin", "Europe/Berlin"), ("Mars/Base", None)]
)
def test_an_unknown_zone_is_a_fault_with_the_nearest(zone: str, near: str | None) -> None:
    [fault] = faults(f'zone = "{zone}"')
    assert (dotted(fault.path), fault.code, fault.warning, fault.nearest) == ("zone", "unknown-zone", False, near)


def test_an_old_zone_is_a_warning_with_the_current_name() -> None:
    [fault] = faults('zone = "US/Pacific"')
    assert (fault.code, fault.warning, fault.nearest) == ("old-zone", True, "America/Los_Angeles")


def test_servers_nobody_asks_are_a_fault() -> None:
    [fault] = faults(ZONE + 'sync = "none"\nservers = ["time.saltmarsh.example"]')
    assert (dotted(fault.path), fault.code) == ("servers", "servers-not-used")


def test_local_time_beside_another_system_warns_with_both_cures() -> None:
    [fault] = faults(ZONE + 'hardware_clock = "local"', Around(others=("factory",)))
    assert (fault.code, fault.warning, len(fault.notes)) == ("hardware-clock-local", True, 2)
    assert faults(ZONE, Around(others=("factory",))) == []
    [alone] = faults(ZONE + 'hardware_clock = "local"')
    assert (alone.code, alone.warning, alone.nearest) == ("hardware-clock-local", True, "utc")


def test_local_time_is_cautioned_against_where_it_is_set() -> None:
    """timedatectl(1), set-local-rtc: trouble with changes of summer time; UTC is what it advises."""
    for word in ("local", "utc"):
        action = actions(f'{ZONE}hardware_clock = "{word}"')["clock.hardware"]
        assert any("summer time" in text for text in action.cautions) is (word == "local")
        assert any("summer time" in text for text in action.upkeep) is (word == "local")


# --- actions -----------------------------------------------------------------------------------------------------


def test_the_live_clock_comes_first_and_needs_no_package() -> None:
    first, *_ = actions(ZONE).values()
    assert (first.id, first.stage, first.gives, first.transient) == ("clock.live", Stage.LIVE, ("clock:live",), True)


def test_the_zone_is_a_link_and_for_apt_a_name_too() -> None:
    """localtime(5): the link's text carries the name; a copy loses it."""
    zone = actions(ZONE)["clock.zone"]
    assert Link(path=InTarget("/etc/localtime"), to="../usr/share/zoneinfo/Europe/Berlin") in zone.operations
    assert WriteFile(path=InTarget("/etc/timezone"), content=("Europe/Berlin\n",)) in zone.operations
    assert len(actions(ZONE, Around(family="dnf"))["clock.zone"].operations) == 1


@pytest.mark.parametrize(("word", "third"), [("utc", "UTC"), ("local", "LOCAL")])
def test_adjtime_says_what_the_clock_shows(word: str, third: str) -> None:
    """adjtime_config(5): three lines, the third is UTC or LOCAL."""
    hardware = actions(f'{ZONE}hardware_clock = "{word}"')["clock.hardware"]
    [file] = [operation for operation in hardware.operations if isinstance(operation, WriteFile)]
    assert file.content == (f"0.0 0 0.0\n0\n{third}\n",)


def test_utc_beside_another_system_is_work_there() -> None:
    there = actions(ZONE, Around(others=("factory",)))["clock.other-system"]
    [work] = there.operations
    assert isinstance(work, ByHand)
    assert there.stage is Stage.OTHER_SYSTEM
    assert "RealTimeIsUniversal" in work.commands[0]
    assert "clock.other-system" not in actions(ZONE + 'hardware_clock = "local"', Around(others=("factory",)))
    assert "clock.other-system" not in actions(ZONE)


@pytest.mark.parametrize(
    ("sync", "family", "unit", "file", "text"),
    [
        (
            "timesyncd",
            "pacman",
            "systemd-timesyncd.service",
            "/etc/systemd/timesyncd.conf.d/servers.conf",
            "[Time]\nNTP=a.example 192.0.2.1\n",
        ),
        ("chrony", "apt", "chrony.service", "/etc/chrony/chrony.conf", "server a.example iburst\n"),
        ("chrony", "dnf", "chronyd.service", "/etc/chrony.conf", "server a.example iburst\n"),
    ],
)
def test_synchronisation_by_family(sync: str, family: str, unit: str, file: str, text: str) -> None:
    """timesyncd.conf(5), chrony.conf(5); unit names by package (Debian 12 read, the others from memory)."""
    found = actions(f'{ZONE}sync = "{sync}"\nservers = ["a.example", "192.0.2.1"]', Around(family=family))["clock.sync"]
    [written] = [operation for operation in found.operations if isinstance(operation, WriteFile)]
    assert written.path == InTarget(file)
    assert str(written.content[0]).startswith(text)
    assert found.gives == (f"service:{unit}",)


def test_no_synchronisation_no_action() -> None:
    assert "clock.sync" not in actions(ZONE + 'sync = "none"')


@pytest.mark.parametrize(("kind", "clock"), [("ntfs", "local"), ("BitLocker", "local"), ("ext4", "utc")])
def test_the_draft_passes_and_follows_the_survey(kind: str, clock: str) -> None:
    part = SurveyedPartition(number=1, start=1, size=1, type="", uuid="", filesystem=SurveyedFileSystem(type=kind))
    text = draft(Survey(disks=(SurveyedDisk(path="/dev/sda", size_bytes=1, partitions=(part,)),)))
    kept = ("factory",) if clock == "local" else ()
    found = faults(text.removeprefix("[clock]\n"), Around(others=kept))
    assert [(fault.code, fault.warning) for fault in found] == [("hardware-clock-local", True)] * len(kept)
    assert section(text.removeprefix("[clock]\n")).hardware_clock == clock


# --- verbs -------------------------------------------------------------------------------------------------------

shells = pytest.mark.parametrize("shell", SHELLS, ids=lambda shell: shell[0])


@pytest.fixture
def place(tmp_path: Path) -> Path:
    for name in ("target", "work", "bin"):
        (tmp_path / name).mkdir()
    return tmp_path


def with_tool(place: Path, name: str, text: str) -> dict[str, str]:
    """An environment in which the medium's `name` does `text`, and no time service answers."""
    for tool, body in ((name, text), ("timedatectl", "exit 1")):
        (place / "bin" / tool).write_text(f"#!/bin/sh\n{body}\n")
        (place / "bin" / tool).chmod(0o755)
    return {**os.environ, "PATH": f"{place}/bin:{os.environ['PATH']}"}


def head(seconds: float) -> str:
    """An answer's head; RFC 9110, section 5.6.7 gives the form of the date."""
    return f"printf 'HTTP/1.1 200 OK\\r\\nDate: {formatdate(seconds, usegmt=True)}\\r\\nServer: x\\r\\n\\r\\n'"


@shells
@pytest.mark.parametrize("seconds", [0, 951782400, 1078012799, 1764081062, 4102444800])
def test_the_date_of_an_answer_is_read(place: Path, shell: tuple[str, ...], seconds: int) -> None:
    env = with_tool(place, "curl", head(seconds))
    done = run("clock/clock-date", "https://mirror.example/", target="", work=place / "work", shell=shell, env=env)
    assert done.stdout == f"{seconds}\n"


@shells
@pytest.mark.parametrize("answer", ["exit 7", "printf 'HTTP/1.1 200 OK\\r\\n\\r\\n'", "printf 'Date: today\\r\\n'"])
def test_no_date_is_no_answer(place: Path, shell: tuple[str, ...], answer: str) -> None:
    env = with_tool(place, "curl", answer)
    done = run("clock/clock-date", "https://mirror.example/", target="", work=place / "work", shell=shell, env=env)
    assert (done.returncode, done.stdout) == (1, "")


@shells
@pytest.mark.parametrize(("off", "right"), [(0, True), (50, True), (-50, True), (90, False), (-86400, False)])
def test_the_live_clock_is_compared_with_the_source(place: Path, shell: tuple[str, ...], off: int, right: bool) -> None:
    env = with_tool(place, "curl", head(time.time() + off))
    done = run("clock/clock-live", "https://mirror.example/x", target="", work=place / "work", shell=shell, env=env)
    assert (done.returncode == 0) is right
    assert "https://mirror.example/" in (done.stdout if right else done.stderr)


@shells
@pytest.mark.parametrize(("off", "right"), [(0, True), (-50000, True), (90000, False), (-10 * 365 * 86400, False)])
def test_a_clock_that_is_days_off_stops_the_script(place: Path, shell: tuple[str, ...], off: int, right: bool) -> None:
    env = with_tool(place, "curl", head(time.time() + off))
    done = run(
        "clock/clock-plausible", "https://mirror.example/x", target="", work=place / "work", shell=shell, env=env
    )
    assert (done.returncode == 0) is right
    assert right or f"{abs(off) // 86400} days away" in done.stderr


@shells
def test_a_time_service_is_believed_first(place: Path, shell: tuple[str, ...]) -> None:
    for off, status in ((3000, 0), (-3000, 0), (10 * 365 * 86400, 1), (-10 * 365 * 86400, 1)):
        env = with_tool(place, "curl", head(time.time() + off))
        (place / "bin/timedatectl").write_text("#!/bin/sh\necho yes\n")
        done = run("clock/clock-live", "https://mirror.example/x", target="", work=place / "work", shell=shell, env=env)
        (place / "work/clock-opinion").unlink()
        assert done.returncode == status
        assert done.stdout == ("the clock is synchronised with a time server\n" if status == 0 else "")
        assert status == 0 or "calls the clock right, but the package source does not" in done.stderr


@shells
def test_where_nobody_answers_the_verb_says_so(place: Path, shell: tuple[str, ...]) -> None:
    env = with_tool(place, "curl", "exit 6")
    done = run("clock/clock-live", "https://mirror.example/x", target="", work=place / "work", shell=shell, env=env)
    assert done.returncode == 0
    assert done.stdout.startswith("nobody could be asked")


@shells
def test_the_source_is_asked_by_host_alone(place: Path, shell: tuple[str, ...]) -> None:
    url = "https://mirror.example/linux/$repo/os/$arch"
    done = run("clock-source", url, target="", work=place / "work", shell=shell)
    assert done.stdout == "https://mirror.example/\n"


@shells
def test_a_zone_file_is_known_by_its_first_bytes(place: Path, shell: tuple[str, ...]) -> None:
    good = run("clock/zone-is-there", "/usr/share/zoneinfo/Europe/Berlin", target="", work=place / "work", shell=shell)
    assert good.returncode == 0
    (place / "zone").write_text("not a zone")
    for wrong in (place / "zone", place / "gone", place):
        assert run("clock/zone-is-there", str(wrong), target="", work=place / "work", shell=shell).returncode == 1


@NEEDS_ROOT
@shells
@pytest.mark.parametrize(
    ("word", "zone", "offset"),
    [
        ("utc", "Europe/Berlin", 0),
        ("local", "UTC", 0),
        ("local", "Asia/Kolkata", 19800),
        ("local", "Etc/GMT+5", -18000),
        ("local", "Pacific/Marquesas", -34200),
    ],
)
def test_the_hardware_clock_is_compared_in_its_own_time(
    place: Path, shell: tuple[str, ...], word: str, zone: str, offset: int
) -> None:
    """The kernel's rtc0/since_epoch is the reading taken as UTC (Linux, Documentation/ABI, sysfs-class-rtc)."""
    call = script("clock/hardware-clock-is", (word, f"/usr/share/zoneinfo/{zone}"), "", place / "work")
    for wrong in (0, 3600, -1800):
        steps = (
            "mount -t tmpfs none /sys && mkdir -p /sys/class/rtc/rtc0",
            f"echo $(($(date +%s) + {offset + wrong})) >/sys/class/rtc/rtc0/since_epoch",
            call,
        )
        command = ["unshare", "--mount", *shell, "-c", "\n".join(steps)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        assert (done.returncode == 0) is (wrong == 0), done.stderr
