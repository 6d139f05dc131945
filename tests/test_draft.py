"""The draft: its frame is valid, what stands against an installation is said, sections come from the steps."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from attrs import evolve

from bedplate import other_systems
from bedplate.cli.main import main
from bedplate.hookspecs import Step
from bedplate.reading import document
from bedplate.reading import validation as checking
from bedplate.schema import table
from bedplate.survey import Firmware, Survey, SurveyedDisk, SurveyedFileSystem, SurveyedMachine, SurveyedPartition
from bedplate.surveying import draft as drafting
from bedplate.surveying.capture import to_toml
from bedplate_steps.disk.draft import draft as disk_draft


@table
class Nothing:
    """A section without fields."""


def step(section: str, text: str | None, required: bool = True) -> Step:
    return Step(
        section=section,
        title=section,
        model=Nothing,
        emit=lambda *_: (),
        required=required,
        draft=None if text is None else lambda survey, disk: text,
    )


SURVEY = Survey(
    taken="2026-11-20T09:12:44Z",
    machine=SurveyedMachine(memory_bytes=16 << 30, vendor="Saltmarsh Workshop", product="Kelp 14"),
    disks=(SurveyedDisk(path="/dev/sda", size_bytes=1 << 30),),
)


def drafted(survey: Survey = SURVEY, *steps: Step, name: str = "kelp-02", path: str = "kelp-02.survey.toml") -> str:
    return drafting.draft(survey, {one.section: one for one in steps}, name=name, survey_path=path)


def test_the_frame_names_machine_and_survey() -> None:
    assert tomllib.loads(drafted(path='a "b"\\c.toml')) == {
        "format": 1,
        "machine": {"name": "kelp-02", "architecture": "amd64", "firmware": "uefi", "survey": 'a "b"\\c.toml'},
    }


@pytest.mark.parametrize(
    ("told", "name"),
    [
        ("kelp-02", "kelp-02"),
        ("Kelp 02", "kelp-02"),
        ("02", "m-02"),
        ("-a-", "a"),
        ("", "new-machine"),
        ("é", "new-machine"),
        ("a" * 70, "a" * 63),
        ("a" * 62 + "-b", "a" * 62),
        ("x\n[disk]", "x-disk"),
    ],
)
def test_any_name_becomes_a_host_name(told: str, name: str) -> None:
    """RFC 1123, section 2.1, narrowed to what the frame takes: lower case, a letter first, 63 at most."""
    assert drafting.host_name(told) == name


def test_sections_come_by_rank_required_ones_first() -> None:
    late = evolve(step("a", "[a]"), draft_rank=2)
    early = evolve(step("b", "\n\n# why\n[b]\n\n\n"), draft_rank=1)
    text = drafted(SURVEY, step("extra", "[extra]\n", False), late, early)
    assert text.index("[b]") < text.index("[a]") < text.index("[extra]")
    assert list(tomllib.loads(text)) == ["format", "machine", "b", "a", "extra"]
    assert text.endswith("[extra]\n")


def test_a_step_without_a_draft_is_named_only_if_required() -> None:
    text = drafted(SURVEY, step("silent", None), step("quiet", None, False))
    assert "[silent]: this step suggests nothing" in text
    assert "quiet" not in text


@pytest.mark.parametrize(
    ("survey", "words"),
    [
        (evolve(SURVEY, firmware=Firmware(mode="bios")), "not started by UEFI"),
        (evolve(SURVEY, disks=()), "no disk"),
        (evolve(SURVEY, machine=SurveyedMachine(architecture="i386")), "i386"),
        (evolve(SURVEY, disks=(SurveyedDisk(path="/dev/sda", size_bytes=1, faults=("Hybrid.",)),)), "Hybrid."),
        (evolve(SURVEY, notes=("Something was not read.",)), "Note: Something was not read."),
    ],
)
def test_what_stands_against_it_is_said(survey: Survey, words: str) -> None:
    assert words not in drafted()
    [line] = [line for line in drafted(survey).split("\n") if words in line]
    assert line.startswith("# ")


def test_the_usual_cautions_stand_first() -> None:
    text = drafted()
    for words in ("Back up", "recovery keys", "mains power", "rules"):
        assert words in text.split("format = 1")[0]


# --- with the built-in steps ---------------------------------------------------------------------------------------

SPECS = Path(__file__).resolve().parent.parent / "specs"


def drafted_and_checked(machine: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    """Exit status and report of `check` on the draft of a machine of ours, and the draft, by the command line."""
    survey, spec = tmp_path / f"{machine}.survey.toml", tmp_path / f"{machine}.toml"
    survey.write_bytes((SPECS / survey.name).read_bytes())
    assert main(["draft", str(survey), "--out", str(spec)]) == 0
    spec.write_text(spec.read_text().replace('# recovery_key_place = "..."', 'recovery_key_place = "safe"'))
    status = main(["check", str(spec)])
    return status, capsys.readouterr().err, spec.read_text(encoding="utf-8")


@pytest.mark.parametrize("machine", ["kelp-02", "barnacle-05", "tern-04"])
def test_the_draft_of_a_machine_with_room_holds(
    machine: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, report, text = drafted_and_checked(machine, tmp_path, capsys)
    assert status == 0, report
    drafted = tomllib.loads(text)
    survey = tomllib.loads((SPECS / f"{machine}.survey.toml").read_text(encoding="utf-8"))
    found = {part["uuid"] for part in survey["disks"][0]["partitions"]}
    assert {keep["partition"] for keep in drafted["disk"]["keep"]} == found
    assert drafted["disk"]["table"] == "keep"
    assert any(line.startswith("#") for line in text.split("[disk]")[1].split("\n"))


def test_the_draft_of_a_full_disk_says_so_and_gives_nothing_up(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, report, text = drafted_and_checked("limpet-01", tmp_path, capsys)
    assert status == 1 and "disk.new[0].size" in report
    assert "make room" in text.lower() and 'table = "keep"' in text


def test_a_kept_system_keeps_its_local_clock(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    beside = tomllib.loads(drafted_and_checked("kelp-02", tmp_path, capsys)[2])
    alone = tomllib.loads(drafted_and_checked("tern-04", tmp_path, capsys)[2])
    assert (beside["clock"]["hardware_clock"], alone["clock"]["hardware_clock"]) == ("local", "utc")


# --- which disk ----------------------------------------------------------------------------------------------------


def with_disks(*disks: SurveyedDisk) -> Survey:
    return (
        checking.structure_survey(document.parse("kelp-02.survey.toml", (SPECS / "kelp-02.survey.toml").read_bytes()))
        if not disks
        else evolve(with_disks(), disks=disks)
    )


KELP = with_disks().disks[0]
BLANK = SurveyedDisk(path="/dev/sdb", serial="SM-SATA-0300", size_bytes=4 << 40, transport="sata", readable=True)
LOCKED = evolve(BLANK, path="/dev/sdc", serial="SM-SATA-0301", content="crypto_LUKS")
USB = evolve(BLANK, path="/dev/sdd", serial="SM-USB-0302", transport="usb")


def disk_text(*disks: SurveyedDisk, asked: SurveyedDisk | None = None) -> str:
    return disk_draft(with_disks(*disks), asked)


@pytest.mark.parametrize(
    ("disks", "taken"),
    [
        ((KELP, LOCKED), "SM-NVME-0217"),  # the larger one holds something
        ((LOCKED, KELP), "SM-NVME-0217"),
        ((KELP, BLANK), "SM-NVME-0217"),  # a system, an EFI system partition, and room once it is shrunk
        ((KELP, USB), "SM-NVME-0217"),
        ((BLANK, USB), "SM-SATA-0300"),
        ((BLANK, LOCKED), "SM-SATA-0300"),
        ((LOCKED,), "SM-SATA-0301"),  # the only one: a person may have it erased
        ((USB,), None),
        ((USB, evolve(USB, serial="SM-USB-0303")), None),
        ((LOCKED, evolve(LOCKED, serial="SM-SATA-0304")), None),
        ((BLANK, evolve(BLANK, serial="SM-SATA-0305")), None),
        ((evolve(BLANK, removable=True),), None),
        ((evolve(BLANK, readable=False),), None),
    ],
)
def test_the_disk_is_chosen_by_what_is_on_it(disks: tuple[SurveyedDisk, ...], taken: str | None) -> None:
    """Common practice, no source: beside the system that starts, then where there is room, then blank; else nobody."""
    text = disk_text(*disks)
    assert tomllib.loads(text)["disk"].get("serial") == taken
    assert all(disk.serial in text for disk in disks)  # the others are named, with what speaks against them


def test_a_person_chooses_another_disk(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    survey, spec = tmp_path / "two.survey.toml", tmp_path / "two.toml"
    survey.write_text(to_toml(with_disks(KELP, USB)))
    assert main(["draft", str(survey), "--disk", "SM-USB-0302", "--out", str(spec)]) == 0
    text = spec.read_text(encoding="utf-8")
    assert tomllib.loads(text)["disk"]["serial"] == "SM-USB-0302" and "# removable = true" in text
    assert '# erases = ["nothing"]' in text and "table" not in tomllib.loads(text)["disk"]
    assert main(["draft", str(survey), "--disk", "SM-USB-0320"]) == 1
    told = capsys.readouterr().err
    assert "the survey has no such disk [disk-unknown]" in told and "nearest: SM-USB-0302" in told


def test_a_name_that_two_disks_have_chooses_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Serial numbers of adapters for USB are not always one of a kind: common practice, no source."""
    survey = tmp_path / "two.survey.toml"
    survey.write_text(to_toml(with_disks(USB, evolve(USB, path="/dev/sdz", by_id=()))))
    assert main(["draft", str(survey), "--disk", "SM-USB-0302"]) == 1
    told = capsys.readouterr()
    assert "2 disks of the survey have this name [disk-ambiguous]" in told.err and told.out == ""


def test_a_system_on_another_disk_is_told_and_its_key_asked_for() -> None:
    text = disk_text(KELP, BLANK, asked=BLANK)
    data = tomllib.loads(text)["disk"]
    assert data["serial"] == "SM-SATA-0300" and data["other_system"] == {"encryption": "unknown"}
    assert "A system lies on another disk" in text


@pytest.mark.parametrize(
    ("rows", "system"),
    [
        ("esp reserved ntfs:100 ntfs:400", 3),  # the larger one is data
        ("esp ntfs:1 reserved ntfs:100 ntfs:400", 4),  # the reserved partition lies before the system
        ("esp reserved ntfs:1 ntfs:100 ntfs:400", 4),  # a small one holds tools
        ("esp ntfs:100 ntfs:400", 2),
        ("reserved ntfs:400", None),  # nothing starts from this disk: data
        ("ntfs:400 ntfs:500", None),
        ("esp ext4:400", None),
        ("esp reserved BitLocker:100 ntfs:400", 3),
    ],
)
def test_the_volume_of_the_other_system_is_found_by_evidence(rows: str, system: int | None) -> None:
    """UEFI specification 13.3 (systems start from an EFI system partition); the order of volumes as in real tables."""
    parts, start = [], 2048
    for number, row in enumerate(rows.split(), 1):
        kind, _, gib = row.partition(":")
        size = int(gib or 1) << 21
        types = {"esp": other_systems.ESP, "reserved": other_systems.RESERVED}
        inside = None if kind in types else SurveyedFileSystem(type=kind)
        parts.append(
            SurveyedPartition(
                number=number,
                start=start,
                size=size,
                filesystem=inside,
                type=types.get(kind, "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7"),
            )
        )
        start += size
    found = other_systems.system_of(evolve(KELP, partitions=tuple(parts)))
    assert (found.number if found else None) == system
