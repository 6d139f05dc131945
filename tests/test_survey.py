"""The survey: its types, its schema and its TOML say the same; the surveys in specs/ come from their captures."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import tomli_w

from bedplate.faults import Rejected
from bedplate.reading import document, validation
from bedplate.survey import (
    BootEntry,
    Firmware,
    FreeRegion,
    Link,
    PartitionTable,
    Survey,
    SurveyedDisk,
    SurveyedFileSystem,
    SurveyedMachine,
    SurveyedPartition,
)
from bedplate.surveying import capture
from bedplate_schema import load

ROOT = Path(__file__).resolve().parent.parent
SURVEYS = sorted((ROOT / "specs").glob("*.survey.toml"))
SCHEMA = load("survey")

HOSTILE = "a\"b'$(touch x)`\\\n\t\r\u2028é\x7f"


def read_back(text: str) -> Survey:
    return validation.structure_survey(document.parse("machine.survey.toml", text.encode()))


def full_survey() -> Survey:
    """A survey in which every field differs from its default."""
    inside = SurveyedFileSystem(
        type="ntfs",
        version="3.1",
        label=HOSTILE,
        uuid="60667EEE480C7ABB",
        used_bytes=0,
        free_bytes=2,
        min_bytes=1,
        dirty=False,
    )
    part = SurveyedPartition(
        number=99,
        start=34,
        size=1,
        type="0FC63DAF-8483-4772-8E79-3D69D8477DE4",
        uuid="A1B2C3D4-0000-4000-8000-0123456789AB",
        name=HOSTILE,
        attributes="GUID:60",
        filesystem=inside,
        mounted_at=("/mnt/a b", "[SWAP]"),
        holders=("crypt",),
        files=("/EFI/a b/x.efi",),
    )
    disk = SurveyedDisk(
        path="/dev/sdz",
        serial="S",
        model="M",
        wwn="W",
        by_id=("/dev/disk/by-id/x",),
        transport="usb",
        rotational=True,
        removable=True,
        size_bytes=7,
        sector_size=4096,
        physical_sector_size=4096,
        readable=True,
        table=PartitionTable(label="gpt", id="I", first_lba=6, last_lba=7, length=12),
        partitions=(part,),
        free=(FreeRegion(start=8, end=9, aligned_mib=0),),
        content="ext4",
        faults=("One fault.",),
    )
    entry = BootEntry(
        number="00AF",
        label=HOSTILE,
        active=False,
        partition="a1b2c3d4-0000-4000-8000-0123456789ab",
        loader="\\EFI\\x.efi",
        path="HD(1)\x01",
    )
    firmware = Firmware(
        mode="bios",
        bits=32,
        secure_boot="setup",
        sbat_level="sbat,1,2021030218",
        variables_free_bytes=0,
        boot_current="00AF",
        boot_order=("00AF", "00AF"),
        entries=(entry,),
    )
    machine = SurveyedMachine(
        architecture="arm64", memory_bytes=1, cpu_vendor="intel", vendor="V", product="P", pci=("0108 1b36:0010",)
    )
    link = Link(name="eth0", mac="02:53:4d:00:00:01", kind="other", driver="d", carrier=True)
    return Survey(
        taken="2026-11-20T09:12:44Z", machine=machine, firmware=firmware, disks=(disk,), links=(link,), notes=("N",)
    )


def test_reading_back_gives_the_same_survey() -> None:
    assert read_back(capture.to_toml(full_survey())) == full_survey()


def test_nothing_known_reads_back_too() -> None:
    bare = Survey(disks=(SurveyedDisk(path="/dev/sda", size_bytes=1),))
    assert read_back(capture.to_toml(bare)) == bare


@pytest.mark.parametrize("path", SURVEYS, ids=lambda path: path.name)
def test_a_survey_in_specs_is_what_its_capture_says(path: Path) -> None:
    captured = ROOT / "tests" / "captures" / path.name.replace(".survey.toml", ".txt")
    text = captured.read_text(encoding="utf-8")
    assert capture.to_toml(capture.survey_from(text)) == path.read_text(encoding="utf-8")


@pytest.mark.parametrize("path", SURVEYS, ids=lambda path: path.name)
def test_a_survey_in_specs_reads_back(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    survey = read_back(text)
    assert capture.to_toml(survey) == text
    assert survey.disks and survey.links and survey.firmware.entries and survey.machine.memory_bytes


def test_there_are_four_surveys() -> None:
    assert len(SURVEYS) == 4


# --- the schema --------------------------------------------------------------------------------------------------


def objects(schema: Any) -> Iterator[dict[str, Any]]:
    if isinstance(schema, dict):
        if schema.get("type") == "object":
            yield schema
        for value in schema.values():
            yield from objects(value)


def test_the_schema_is_valid_draft_2020_12() -> None:
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_the_schema_is_closed_and_every_property_is_explained() -> None:
    found = list(objects(SCHEMA))
    assert len(found) == 11
    for item in found:
        assert item["unevaluatedProperties"] is False
        for name, one in item["properties"].items():
            assert one.get("title") and one.get("description"), name


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("format",), 2),
        (("firmware", "mode"), "coreboot"),
        (("firmware", "secure_boot"), "maybe"),
        (("disks", 0, "sector_size"), 520),
        (("disks", 0, "size_bytes"), 0),
        (("disks", 0, "partitions", 0, "uuid"), "a1b2c3d4-0000-4000-8000-0123456789ab"),
        (("disks", 0, "partitions", 0, "files", 0), "EFI/x.efi"),
        (("links", 0, "mac"), "02-53-4D-00-00-01"),
        (("links", 0, "name"), "eth0\n"),
        (("notes", 0), ""),
        (("surprise",), 1),
    ],
)
def test_the_schema_refuses(path: tuple[str | int, ...], value: object) -> None:
    data: Any = tomllib.loads(capture.to_toml(full_survey()))
    inner = data
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    with pytest.raises(Rejected) as caught:
        read_back(tomli_w.dumps(data))
    [fault] = caught.value.faults
    assert fault.path == path
