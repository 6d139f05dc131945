"""The disk step: every fault at its place, the layout, the actions, the tables of file systems, the draft."""

from __future__ import annotations

import json
import os
import re
import subprocess
import tomllib
from pathlib import Path
from typing import Any, TypeVar

import jsonschema
import pytest
from attrs import evolve, field, frozen

import bedplate_schema
from bedplate.actions import TARGET, Action, ByHand, Call, InTarget, SecretRef, Stage, WriteFile
from bedplate.facts import Family, Layout
from bedplate.faults import Fault, Rejected, dotted
from bedplate.identity import derive, fat_volume_id
from bedplate.reading.structuring import structured
from bedplate.regions import free_regions
from bedplate.spec import Machine
from bedplate.survey import PartitionTable, Survey, SurveyedDisk, SurveyedFileSystem, SurveyedMachine, SurveyedPartition
from bedplate.units import GIB, MIB
from bedplate_steps.disk import bedplate_steps, erasures
from bedplate_steps.disk.draft import draft
from bedplate_steps.disk.emit_mounts import crypttab, fstab
from bedplate_steps.disk.emit_table import table_script
from bedplate_steps.disk.model import DiskSection
from library import LIBRARY

T = TypeVar("T")
[STEP] = bedplate_steps()
ESP, SYSTEM = "86CC7105-853D-4D39-AA11-593635FA098E", "0379071F-4CA3-4CC9-895E-395DE7D95941"
RESERVED, RECOVERY = "DE896EAD-533A-4961-8DB3-71F448D61E4B", "47B3F63A-FDD0-4FEC-9A7E-81F2561B814E"
LINUX = "0FC63DAF-8483-4772-8E79-3D69D8477DE4"

VFAT = SurveyedFileSystem(type="vfat", uuid="0217-ABCD", free_bytes=200 * MIB)
NTFS = SurveyedFileSystem(type="ntfs", uuid="60667EEE480C7ABB", used_bytes=80 * GIB)
ROWS = (
    SurveyedPartition(
        number=1, start=2048, size=532480, type="C12A7328-F81F-11D2-BA4B-00A0C93EC93B", uuid=ESP, filesystem=VFAT
    ),
    SurveyedPartition(number=2, start=534528, size=32768, type="E3C9E316-0B5C-4DB8-817D-F92DF00215AE", uuid=RESERVED),
    SurveyedPartition(
        number=3,
        start=567296,
        size=998625280,
        type="EBD0A0A2-B9E5-4433-87C0-68B6B72699C7",
        uuid=SYSTEM,
        filesystem=NTFS,
    ),
    SurveyedPartition(
        number=4,
        start=999192576,
        size=1021952,
        type="DE94BBA4-06D1-4D40-A16A-BFD50179D6AC",
        uuid=RECOVERY,
        filesystem=SurveyedFileSystem(type="ntfs"),
    ),
)
TABLE = PartitionTable(
    label="gpt", id="AC3475A4-6B15-45F6-B06F-1DC2212ED6B8", first_lba=34, last_lba=1000215182, length=128
)
DISK = SurveyedDisk(
    path="/dev/nvme0n1",
    serial="SM-NVME-0217",
    model="Saltmarsh NVMe 512",
    size_bytes=512110190592,
    table=TABLE,
    readable=True,
    partitions=ROWS,
    by_id=("/dev/disk/by-id/nvme-saltmarsh-0217",),
)

HEAD = 'serial = "SM-NVME-0217"\ntable = "keep"\n'
KEEP = f"""
[[keep]]
name = "factory-esp"
partition = "{ESP}"
role = "esp"
mount = "/boot/efi"

[[keep]]
name = "factory-reserved"
partition = "{RESERVED}"
role = "reserved"

[[keep]]
name = "factory-system"
partition = "{SYSTEM.lower()}"
role = "system"
shrink_to = "240GiB"

[[keep]]
name = "factory-recovery"
partition = "{RECOVERY}"
role = "recovery"
"""
ROOT = '\n[[new]]\nname = "root"\nsize = "rest"\nfilesystem = "ext4"\nlabel = "kelp-root"\nmount = "/"\n'
SWAP = '\n[[new]]\nname = "swap"\nsize = "8GiB"\nfilesystem = "swap"\nlabel = "kelp-swap"\n'
OTHER = '\n[other_system]\nencryption = "none"\n'
PLAIN = HEAD + KEEP + ROOT + SWAP + OTHER
WHOLE = "\n".join(['serial = "SM-NVME-0217"', *erasures.written(DISK), ""])
UNNAMED = 'serial = "SM-NVME-0217"\ntable = "new"\n'
NEW_ESP = '\n[[new]]\nname = "esp"\nsize = "1GiB"\nfilesystem = "vfat"\nlabel = "ESP"\nmount = "/boot/efi"\n'


def whole(disk: SurveyedDisk) -> str:
    """The head of a section that erases `disk`."""
    return "\n".join(['serial = "SM-NVME-0217"', *erasures.written(disk), ""])


def survey(disk: SurveyedDisk = DISK, *more: SurveyedDisk, memory: int = 16 * GIB) -> Survey:
    return Survey(machine=SurveyedMachine(memory_bytes=memory), disks=(_with_regions(disk), *more))


def _with_regions(disk: SurveyedDisk) -> SurveyedDisk:
    return (
        disk if disk.table is None else evolve(disk, free=free_regions(disk.table, disk.partitions, disk.sector_size))
    )


FAMILY = Family(
    name="apt",
    architecture="amd64",
    rebuild_initramfs=(),
    packages={
        "encryption": ("cryptsetup",),
        **{f"fs-{kind}": (f"{kind}-tools",) for kind in ("ext4", "xfs", "btrfs", "vfat", "ntfs")},
    },
)


@frozen(kw_only=True)
class Around:
    """A context with a machine, perhaps a survey, and the layout of the section asked about."""

    machine: Machine = field(factory=lambda: Machine(name="kelp-02"))
    survey: Survey | None = field(factory=survey)
    section: DiskSection | None = None
    family: Family = FAMILY

    def has(self, kind: type[object]) -> bool:
        return kind in (Layout, Family)

    def fact(self, kind: type[T]) -> T:
        answer = self.family if kind is Family else STEP.facts[Layout](self.section, self)
        assert isinstance(answer, kind)
        return answer


def section(text: str) -> DiskSection:
    data: dict[str, Any] = tomllib.loads(text)
    jsonschema.Draft202012Validator(bedplate_schema.load("disk")).validate(data)
    return structured(data, DiskSection)


def faults(text: str, found: Survey | str | None = "", warning: bool = False) -> dict[str, Fault]:
    """Faults (or warnings) by code, checks and layout together, as the program gathers them."""
    around = Around(survey=survey() if isinstance(found, str) else found, section=section(text))
    assert STEP.validate is not None
    all_found = list(STEP.validate(section(text), around))
    try:
        STEP.facts[Layout](section(text), around)
    except Rejected as rejected:
        all_found += rejected.faults
    return {fault.code: fault for fault in all_found if fault.warning is warning}


def layout(text: str, found: Survey | None = None) -> Layout:
    answer = STEP.facts[Layout](section(text), Around(survey=found or survey()))
    assert isinstance(answer, Layout)
    return answer


def actions(text: str, found: Survey | None = None) -> dict[str, Action]:
    around = Around(survey=found or survey(), section=section(text))
    return {action.id: action for action in STEP.emit(section(text), around)}


def with_row(at: int, **changes: object) -> Survey:
    """The survey with one row of the disk changed."""
    rows = tuple(evolve(row, **changes) if row.number == at else row for row in ROWS)
    return survey(evolve(DISK, partitions=rows))


# --- faults ----------------------------------------------------------------------------------------------------------


def test_the_plain_spec_has_none() -> None:
    assert faults(PLAIN) == {} and faults(PLAIN, warning=True) == {}


SWAP_IN_PLACE = PLAIN.replace(SWAP, "")
FAT_DATA = PLAIN.replace(SWAP, '\n[[new]]\nname = "more"\nsize = "16MiB"\nfilesystem = "vfat"\nmount = "/more"\n')
CASES: list[tuple[str, str, str, str]] = [
    ("disk-unnamed", "", PLAIN.replace('serial = "SM-NVME-0217"', ""), ""),
    ("disk-unnamed", "", PLAIN.replace('serial = "SM-NVME-0217"', 'model = "Saltmarsh NVMe 512"'), ""),
    ("disk-named-twice", "", 'by_id = "/dev/disk/by-id/x"\n' + PLAIN, ""),
    ("survey-of-another-machine", "serial", PLAIN.replace("NVME-0217", "NVME-0271"), "SM-NVME-0217"),
    ("kept-partition-missing", "keep[1].partition", PLAIN.replace("DE896EAD", "DE896EAE"), RESERVED),
    ("partition-not-listed", "keep", HEAD + KEEP.replace(KEEP[KEEP.rindex("\n[[") :], "") + ROOT + OTHER, ""),
    ("kept-twice", "keep[1].partition", PLAIN.replace(RESERVED, ESP), ""),
    ("role-contradicts-type", "keep[1].role", PLAIN.replace('"reserved"', '"data"'), ""),
    ("esp-type", "keep[2].role", PLAIN.replace('"system"', '"esp"'), ""),
    ("shrink-refused", "keep[0].shrink_to", PLAIN.replace('"/boot/efi"', '"/boot/efi"\nshrink_to = "1MiB"'), ""),
    ("shrink-done", "keep[2].shrink_to", PLAIN.replace("240GiB", "900GiB"), ""),
    ("shrink-too-far", "keep[2].shrink_to", PLAIN.replace("240GiB", "80.5GiB"), ""),
    ("no-room", "new[0].size", PLAIN.replace('"rest"', '"64GiB"').replace("240GiB", "417GiB"), ""),
    ("nothing-left", "new[0].size", PLAIN.replace('"8GiB"', '"100%"'), ""),
    ("too-small", "new[0].size", PLAIN.replace('"ext4"', '"xfs"').replace('"rest"', '"299MiB"'), ""),
    ("too-small", "new[1].size", FAT_DATA, ""),
    ("name-twice", "new[1].name", PLAIN.replace('name = "swap"', 'name = "root"'), ""),
    ("name-twice", "new[0].name", PLAIN.replace('name = "root"', 'name = "factory-esp"'), ""),
    ("label-twice", "new[1].label", PLAIN.replace("kelp-swap", "kelp-root"), ""),
    ("label-too-long", "new[0].label", PLAIN.replace("kelp-root", "kelp-root-kelp-02"), ""),
    ("label-efi", "new[0].label", WHOLE + NEW_ESP.replace('"ESP"', '"EFI"') + ROOT, ""),
    (
        "mount-twice",
        "new[1].mount",
        PLAIN.replace(
            SWAP, SWAP.replace('"swap"', '"xfs"', 2).replace('name = "xfs"', 'name = "more"') + 'mount = "/"\n'
        ),
        "",
    ),
    ("mount-not-plain", "new[0].mount", PLAIN.replace('mount = "/"\n', 'mount = "/a/../b"\n'), ""),
    ("mount-reserved", "new[0].mount", PLAIN.replace('mount = "/"\n', 'mount = "/proc/x"\n'), ""),
    ("no-root", "new", PLAIN.replace('mount = "/"\n', 'mount = "/data"\n'), ""),
    ("no-esp", "keep[0]", PLAIN.replace('mount = "/boot/efi"\n', ""), ""),
    ("no-esp", "new", WHOLE + ROOT, ""),
    ("esp-twice", "new[1]", HEAD + KEEP + ROOT + NEW_ESP.replace("/boot/efi", "/efi") + OTHER, ""),
    ("esp-mount", "keep[0].mount", PLAIN.replace("/boot/efi", "/data"), ""),
    ("esp-not-fat", "new[0].filesystem", WHOLE + NEW_ESP.replace("vfat", "ext4") + ROOT, ""),
    ("esp-full", "keep[0].mount", PLAIN.replace("/boot/efi", "/boot"), ""),
    ("boot-type-open", "new[0].mount", WHOLE + NEW_ESP.replace("/boot/efi", "/boot") + ROOT, ""),
    ("root-on-fat", "new[0].filesystem", PLAIN.replace('"ext4"', '"vfat"').replace("kelp-root", "ROOT"), ""),
    ("swap-mounted", "new[1].mount", PLAIN.replace(SWAP, SWAP + 'mount = "/swap"\n'), ""),
    (
        "subvolumes-refused",
        "new[0].subvolumes",
        PLAIN.replace('mount = "/"\n', 'subvolumes = [{ name = "@", mount = "/" }]\n'),
        "",
    ),
    ("type-contradicts", "new[0].type", PLAIN.replace('mount = "/"\n', 'mount = "/"\ntype = "swap"\n'), ""),
    ("kept-mount", "keep[2].mount", PLAIN.replace('"system"', '"system"\nmount = "/data"'), ""),
    ("keep-and-new-table", "keep[0]", WHOLE + KEEP + ROOT + SWAP + OTHER, ""),
    ("erases-missing", "table", UNNAMED + NEW_ESP + ROOT, ""),
    ("erases-and-keep", "erases", PLAIN.replace('table = "keep"', 'table = "keep"\nerases = ["nothing"]'), ""),
    (
        "erases-not-seen",
        "erases[1]",
        WHOLE.replace("ABCD", "ABCE") + NEW_ESP + ROOT,
        f"partition 1 {ESP}: vfat 0217-ABCD",
    ),
    (
        "erases-incomplete",
        "erases",
        WHOLE.replace(f'    "partition 2 {RESERVED}: no signature seen",\n', "") + NEW_ESP + ROOT,
        "",
    ),
    ("erases-not-seen", "erases[0]", UNNAMED + 'erases = ["nothing"]\n' + NEW_ESP + ROOT, ""),
    ("table-undecided", "", PLAIN.replace('table = "keep"', ""), ""),
    ("other-system-missing", "keep[2].role", PLAIN.replace(OTHER, ""), ""),
    ("recovery-key-place", "other_system.recovery_key_place", PLAIN.replace('"none"', '"on"'), ""),
    (
        "encrypted-chain-load",
        "other_system.start_by",
        PLAIN.replace('"none"', '"on"\nrecovery_key_place = "safe"\nstart_by = "chain-load"'),
        "",
    ),
    ("hibernate-swap", "hibernate", "hibernate = true\n" + SWAP_IN_PLACE, ""),
    ("hibernate-small", "new[1].size", "hibernate = true\n" + PLAIN, ""),
    ("encrypted-root-no-boot", "new[0].encrypt", PLAIN.replace('mount = "/"\n', 'mount = "/"\nencrypt = true\n'), ""),
    ("swap-not-encrypted", "new[1].name", PLAIN.replace('mount = "/"\n', 'mount = "/"\nencrypt = true\n'), ""),
    ("encrypted-fat", "new[0].encrypt", WHOLE + NEW_ESP + "encrypt = true\n" + ROOT, ""),
    ("rest-twice", "new[1].size", PLAIN.replace('"8GiB"', '"rest"'), ""),
]
"""Code, path, section, nearest."""


@pytest.mark.parametrize(("code", "path", "text", "near"), CASES, ids=[f"{case[0]}-{case[1]}" for case in CASES])
def test_faults(code: str, path: str, text: str, near: str) -> None:
    found = faults(text)
    assert code in found, sorted(found)
    assert dotted(found[code].path) == path
    assert (found[code].nearest or "") == near
    assert found[code].message and not found[code].message.endswith(".")


def test_the_arithmetic_is_shown() -> None:
    """The machine of the example: 476.19 GiB less 417 GiB, minus nothing but what is aligned."""
    fault = faults(PLAIN.replace('"rest"', '"64GiB"').replace("240GiB", "417GiB"))["no-room"]
    assert fault.message == "root 64 GiB asked, 59.18 GiB free after the shrink"
    assert fault.notes[0] == "asked: root 65536 + swap 8192 = 73728 MiB (72 GiB)"
    floor = faults(PLAIN.replace("240GiB", "80.5GiB"))["shrink-too-far"]
    assert floor.message == "factory-system would have 80.5 GiB, it needs 81 GiB"
    assert floor.notes == ("used or not movable 80 GiB + reserve 1 GiB = 81 GiB",)


def test_faults_of_the_surveyed_table() -> None:
    dynamic = with_row(2, type="AF9B60A0-1431-4F62-BC68-3311714A69AD")
    hidden = with_row(1, attributes="RequiredPartition NoBlockIOProtocol")
    assert "dynamic-disk" in faults(PLAIN.replace('"reserved"', '"other"'), dynamic)
    assert "esp-hidden" in faults(PLAIN, hidden)
    assert "table-not-gpt" in faults(PLAIN, survey(evolve(DISK, table=evolve(TABLE, label="dos"))))
    assert "no-table" in faults(PLAIN, survey(evolve(DISK, table=None, partitions=())))
    assert "table-untrusted" in faults(PLAIN, survey(evolve(DISK, faults=("the second header is misplaced",))))
    assert "sector-size" in faults(PLAIN, survey(evolve(DISK, sector_size=2048)))
    assert "disk-ambiguous" in faults(PLAIN, survey(DISK, DISK))
    assert "survey-missing" in faults(PLAIN, None)
    assert "table-full" in faults(PLAIN, survey(evolve(DISK, table=evolve(TABLE, length=5))))
    assert "esp-not-fat" in faults(PLAIN, with_row(1, filesystem=SurveyedFileSystem(type="ext4")))
    bitlocker = with_row(3, filesystem=SurveyedFileSystem(type="BitLocker"))
    assert dotted(faults(PLAIN, bitlocker)["encryption-contradicts"].path) == "other_system.encryption"


def test_no_value_of_a_survey_makes_a_row_of_the_table_of_file_systems(tmp_path: Path) -> None:
    """Read back by findmnt(8)."""
    plan = layout(PLAIN)
    evil = "0217-ABCD /usr ext4 suid,user 0 0 #\nUUID=1\tx\\040"
    parts = tuple(evolve(part, fs_uuid=evil) if part.role == "esp" else part for part in plan.partitions)
    table = tmp_path / "fstab"
    table.write_text(fstab(evolve(plan, partitions=parts), section(PLAIN)))
    listed = ["findmnt", "--tab-file", str(table), "--json", "--output", "SOURCE,TARGET"]
    rows = json.loads(subprocess.run(listed, capture_output=True, text=True, check=True).stdout)["filesystems"]
    flat = [*rows, *(child for row in rows for child in row.get("children", ()))]
    found = {row["target"]: row["source"] for row in flat}
    assert found["/boot/efi"] == f"UUID={evil}" and "/usr" not in found
    assert "\\" not in fstab(plan, section(PLAIN))


@pytest.mark.parametrize("table", ["keep", "new"])
@pytest.mark.parametrize(
    "lies",
    [
        evolve(DISK, table=None, partitions=(), readable=False),
        evolve(DISK, partitions=(), readable=False),
        evolve(DISK, table=None),
    ],
    ids=["never-read", "empty-but-not-read", "rows-without-a-table"],
)
def test_a_disk_nobody_has_read_is_neither_kept_nor_erased(lies: SurveyedDisk, table: str) -> None:
    text = PLAIN if table == "keep" else WHOLE + NEW_ESP + ROOT
    found = faults(text, survey(lies))
    assert list(found) == ["table-unread"]
    assert any("as root" in note for note in found["table-unread"].notes)


def test_a_new_table_always_warns_also_of_an_empty_disk() -> None:
    for lies in (DISK, evolve(DISK, partitions=()), evolve(DISK, table=None, partitions=(), content="ext4")):
        found = faults(whole(lies) + NEW_ESP + ROOT, survey(lies), warning=True)
        assert found["everything-lost"].notes


def test_what_is_erased_is_what_was_surveyed() -> None:
    """Asked when the disk is looked for, and again right before the new table: rows and what is in them."""
    found = actions(WHOLE + NEW_ESP + ROOT)
    table = layout(WHOLE + NEW_ESP + ROOT).table_id
    for name in ("disk.identify", "disk.make-table"):
        [guard] = [check.test for check in found[name].guards if "spec erases" in check.says]
        assert isinstance(guard, Call) and (guard.verb, guard.args) == ("disk/disk-holds", (table,))
        assert guard.stdin == (
            "".join(
                [
                    f"label: gpt\nlabel-id: {TABLE.id}\n",
                    *(
                        f"{row.start} {row.size} {row.type} {row.uuid} {inside}\n"
                        for row, inside in zip(
                            ROWS, ("vfat 0217-ABCD", "- -", "ntfs 60667EEE480C7ABB", "ntfs -"), strict=True
                        )
                    ),
                ]
            ),
        )
        assert "tool:blkid" in found["disk.identify"].needs
    bare = evolve(DISK, table=None, partitions=(), content="ext4")
    [guard] = [
        check.test
        for check in actions(whole(bare) + NEW_ESP + ROOT, survey(bare))["disk.identify"].guards
        if "spec erases" in check.says
    ]
    assert isinstance(guard, Call) and (guard.args, guard.stdin) == ((table,), ("disk ext4\n",))


def test_encryption_that_nobody_has_looked_at_keeps_the_steps_for_its_key() -> None:
    other = OTHER.replace('"none"', '"unknown"') + 'recovery_key_place = "safe"\n'
    assert faults(PLAIN.replace(OTHER, other)) == {}
    assert list(actions(PLAIN.replace(OTHER, other)))[1:3] == ["disk.note-recovery-key", "disk.suspend-encryption"]
    on = other.replace("unknown", "on")
    assert set(faults(PLAIN.replace(OTHER, on), warning=True)) == {"encryption-not-seen"}


def test_a_fat_label_is_refused_where_mkfs_refuses_it(tmp_path: Path) -> None:
    """mkfs.fat of dosfstools is the judge, for every kind of character the schema takes in a label."""
    image = tmp_path / "fat.img"
    image.touch()
    os.truncate(image, 4 * MIB)
    for character in "AZ09 _.+-":
        made = subprocess.run(["mkfs.fat", "-n", f"A{character}B", image], capture_output=True, check=False)
        found = faults(WHOLE + NEW_ESP.replace('"ESP"', f'"A{character}B"') + ROOT)
        assert ("label-characters" in found) == (made.returncode != 0), character


def test_warnings() -> None:
    def warned(text: str, found: Survey | str = "") -> set[str]:
        return set(faults(text, found, warning=True))

    swap = with_row(2, type="0657FD6D-A4AB-43C4-84E5-0933C84B4F4F")
    assert warned(PLAIN.replace('"reserved"', '"other"'), swap) == {"foreign-swap"}
    assert warned(PLAIN, with_row(3, filesystem=SurveyedFileSystem(type="ntfs"))) == {"used-space-unknown"}
    assert warned(PLAIN.replace("240GiB", "90GiB")) == {"shrink-tight"}
    assert warned(PLAIN, with_row(3, filesystem=evolve(NTFS, dirty=True))) == {"volume-dirty"}
    assert warned(PLAIN, with_row(1, filesystem=SurveyedFileSystem(type="vfat"))) == {"esp-room-unknown"}
    assert warned(PLAIN.replace('role = "system"\nshrink_to = "240GiB"', 'role = "other"')) == {"role-other"}
    assert warned(WHOLE + NEW_ESP + ROOT) == {"everything-lost"}
    assert warned(WHOLE + NEW_ESP.replace("1GiB", "260MiB") + ROOT) == {"everything-lost", "esp-small"}
    assert warned("hibernate = true\n" + PLAIN.replace("8GiB", "16GiB")) == {"hibernate-shared-esp"}
    secret = '\n[[new]]\nname = "secret"\nsize = "2GiB"\nfilesystem = "ext4"\nmount = "/srv"\nencrypt = true\n'
    assert warned(PLAIN + secret) == {"swap-readable"}
    assert warned(PLAIN.replace('filesystem = "swap"', 'filesystem = "swap"\nencrypt = true') + secret) == set()
    assert warned('swap_file = { size = "1GiB" }\n' + PLAIN.replace(SWAP, "") + secret) == {"swap-readable"}
    usb = survey(evolve(DISK, transport="usb"))
    assert list(faults(PLAIN, usb)) == ["removable-disk"]
    assert warned("removable = true\n" + PLAIN, usb) == {"disk-removable"}
    assert warned(HEAD + KEEP.replace('mount = "/boot/efi"\n', "") + ROOT + NEW_ESP + OTHER) == {"second-esp"}


@pytest.mark.parametrize("text", ["/dev/sda", "/a b", "/a\nb", "a", "/a$(x)", "/ä"])
def test_the_schema_refuses_odd_mount_points(text: str) -> None:
    pattern = bedplate_schema.load("disk")["properties"]["new"]["items"]["properties"]["mount"]["pattern"]
    assert (re.fullmatch(pattern, text) is None) is (text != "/dev/sda")


# --- layout ----------------------------------------------------------------------------------------------------------


def test_kept_rows_stay_and_new_ones_have_derived_identities() -> None:
    found = layout(PLAIN)
    kept = [part for part in found.partitions if not part.new]
    assert [(part.number, part.start, part.uuid) for part in kept] == [(r.number, r.start, r.uuid) for r in ROWS]
    system = next(part for part in kept if part.name == "factory-system")
    assert (system.size * 512, system.shrunk_from) == (240 * GIB, ROWS[2].size)
    root = found.mounted("/")
    assert root is not None
    assert root.uuid == derive("kelp-02", 1, "SM-NVME-0217", "partition", "root").upper()
    assert root.fs_uuid == derive("kelp-02", 1, "SM-NVME-0217", "filesystem", "root")
    assert (root.type, root.number, root.gpt_name) == ("4F68BCE3-E8CD-4DB1-96E7-FBCAF984B709", 5, "root")
    assert root.start == system.end + 1 and found.role("swap") is not None
    assert (found.table_id, found.first_lba, found.last_lba) == (TABLE.id, 34, 1000215182)
    assert found.other_systems == ("factory-system",) and found.esp is not None and not found.whole_disk


def test_identity_does_not_depend_on_how_the_disk_is_named() -> None:
    by_id = PLAIN.replace('serial = "SM-NVME-0217"', 'by_id = "/dev/disk/by-id/nvme-saltmarsh-0217"')
    model = PLAIN.replace('serial = "SM-NVME-0217"', 'model = "Saltmarsh NVMe 512"\nsize = "512110190592 B"')
    assert layout(PLAIN).partitions == layout(by_id).partitions == layout(model).partitions


def test_a_new_table_starts_at_one_mib_and_has_an_identity_of_its_own() -> None:
    found = layout(WHOLE + NEW_ESP + ROOT)
    assert found.table_id == derive("kelp-02", 1, "SM-NVME-0217", "disk", "table").upper()
    assert (found.first_lba, found.last_lba) == (2048, 512110190592 // 512 - 34)
    esp = found.esp
    assert esp is not None and (esp.start, esp.number) == (2048, 1)
    assert esp.fs_uuid == fat_volume_id(derive("kelp-02", 1, "SM-NVME-0217", "filesystem", "esp"))
    assert [part.uuid for part in found.before] == [ESP, RESERVED, SYSTEM, RECOVERY]


ENCRYPTED = (
    WHOLE
    + NEW_ESP
    + '\n[[new]]\nname = "boot"\nsize = "1GiB"\nfilesystem = "ext4"\nmount = "/boot"\n'
    + ROOT
    + "encrypt = true\n"
    + SWAP.replace("8GiB", "16GiB")
    + "encrypt = true\n"
    + '\n[[new]]\nname = "logs"\nsize = "10GiB"\nfilesystem = "xfs"\nmount = "/logs"\nencrypt = true\n'
)


def test_encrypted_partitions_are_mapped_by_their_role() -> None:
    found = {part.name: part for part in layout("hibernate = true\n" + ENCRYPTED).partitions}
    assert {name: part.mapper for name, part in found.items() if part.mapper} == {
        "root": "root",
        "swap": "swap",
        "logs": "logs",
    }
    assert found["logs"].type == "CA7D7CCB-63ED-4C53-861C-1742536059CC"
    assert layout("hibernate = true\n" + ENCRYPTED).resume == ("resume=/dev/mapper/swap",)
    assert crypttab(layout(ENCRYPTED)).splitlines()[1:] == [
        f"{found[name].mapper} UUID={found[name].luks_uuid} none luks" for name in ("root", "swap", "logs")
    ]


# --- actions ---------------------------------------------------------------------------------------------------------


def test_swap_is_made_before_the_root_that_packages_wait_for() -> None:
    """An action is taken as soon as it is ready, so what is emitted behind the root can come behind the packages."""
    found = list(actions(ENCRYPTED))
    assert found.index("disk.encrypt-swap") < found.index("disk.format-swap") < found.index("disk.encrypt-root")


def test_the_shrink_is_for_a_person_with_the_exact_amount() -> None:
    found = actions(PLAIN)
    amount = (ROWS[2].size * 512 - 240 * GIB) // MIB
    shrink = found["disk.shrink-factory-system"]
    [operation] = shrink.operations
    assert shrink.stage is Stage.OTHER_SYSTEM and isinstance(operation, ByHand)
    assert shrink.title == f"Shrink factory-system by {amount} MiB, in the other system"
    assert f"shrink desired={amount} minimum={amount}" in operation.commands
    verbs = [check.test.verb for check in shrink.proofs if isinstance(check.test, Call)]
    assert verbs == ["disk/partition-ends-by", "disk/ntfs-fits"]


def test_a_volume_that_is_not_the_other_systems_own_is_never_called_c() -> None:
    """diskpart, from memory: `select volume` takes a letter; the running system calls its own volume C."""
    own = actions(PLAIN)["disk.shrink-factory-system"].operations[0]
    assert isinstance(own, ByHand) and "select volume C" in own.commands
    assert "about this size; if it does not, stop" in own.text
    data = actions(PLAIN.replace('role = "system"', 'role = "data"'))
    [shrink] = data["disk.shrink-factory-system"].operations
    assert isinstance(shrink, ByHand) and "select volume LETTER" in shrink.commands
    assert "C is another one" in shrink.text and "disk.shut-down" in data
    assert "chkdsk LETTER: /f" in data["disk.shrink-factory-system"].proofs[1].otherwise


def test_encryption_of_the_other_system_is_suspended_before_anything() -> None:
    found = actions(PLAIN.replace('"none"', '"on"\nrecovery_key_place = "safe in the office"'))
    ids = list(found)
    assert ids.index("disk.note-recovery-key") < ids.index("disk.suspend-encryption") < ids.index("disk.shut-down")
    [operation] = found["disk.suspend-encryption"].operations
    assert isinstance(operation, ByHand) and "manage-bde -protectors -disable C: -rebootcount 0" in operation.commands
    assert not {"disk.note-recovery-key", "disk.suspend-encryption"} & set(actions(PLAIN))


def test_no_kept_partition_is_ever_an_argument_of_a_changing_verb() -> None:
    """Only the mounting of the EFI system partition and the closing see a kept one; making ones never."""
    kept = {ESP, RESERVED, SYSTEM, RECOVERY, ESP.lower(), SYSTEM.lower()}
    for action in actions(PLAIN).values():
        for operation in (*action.operations, *action.way_back.operations):
            if isinstance(operation, Call) and operation.verb not in ("disk/mount-in-target", "disk/close-target"):
                text = "".join(str(part) for part in (*operation.args, *(operation.stdin or ())))
                assert not any(uuid in text for uuid in kept), action.id


def test_the_rows_for_sfdisk() -> None:
    script = table_script(layout(PLAIN))
    assert "label:" not in script, "a header would make sfdisk replace the table"
    assert all(line.startswith("start=") and ", size=" in line and ", uuid=" in line for line in script.splitlines())
    assert table_script(layout(WHOLE + NEW_ESP + ROOT)).startswith("label: gpt\nlabel-id: ")


def test_every_action_keeps_the_contract() -> None:
    for text in (PLAIN, WHOLE + NEW_ESP + ROOT, ENCRYPTED, BTRFS):
        found = actions(text)
        assert len(found) == len(list(STEP.emit(section(text), Around(section=section(text)))))
        for action in found.values():
            assert action.id.startswith("disk.") and "\n" not in action.title and action.reason
            assert action.way_back.note
            hand_work = action.stage is Stage.OTHER_SYSTEM
            assert action.proofs or not action.changes or hand_work, action.id
            for operation in action.operations:
                assert not isinstance(operation, Call) or operation.by_hand, action.id
        assert found["disk.close"].needs[0] == "stage:target"


def test_every_verb_is_there_and_says_what_it_uses() -> None:
    names = {
        check.test.verb
        for text in (PLAIN, WHOLE + NEW_ESP + ROOT, ENCRYPTED, BTRFS)
        for action in actions(text).values()
        for check in (*action.guards, *action.proofs)
        if isinstance(check.test, Call)
    }
    names |= {
        operation.verb
        for text in (PLAIN, WHOLE + NEW_ESP + ROOT, ENCRYPTED, BTRFS)
        for action in actions(text).values()
        for operation in (*action.operations, *action.way_back.operations)
        if isinstance(operation, Call)
    }
    text = LIBRARY.text(names)
    defined = {line[:-4] for line in text.splitlines() if line.startswith("verb_") and line.endswith("() {")}
    called = {word for line in text.splitlines() if not line.startswith("#") for word in _verb_words(line)}
    assert called <= defined, sorted(called - defined)


def _verb_words(line: str) -> set[str]:
    return set(re.findall(r"\bverb_[a-z_]+", line))


def test_the_tools_of_every_mounted_file_system_are_asked_for() -> None:
    assert {"package:ext4-tools", "package:vfat-tools"} < set(actions(PLAIN)["disk.fstab"].needs)
    assert "package:btrfs-tools" in actions(BTRFS)["disk.fstab"].needs
    assert "package:cryptsetup" in actions(ENCRYPTED)["disk.crypttab"].needs
    lacking = evolve(FAMILY, packages={"fs-ext4": ("e2fsprogs",), "fs-vfat": ("dosfstools",)})
    around = Around(section=section(BTRFS), family=lacking)
    assert STEP.validate is not None
    [fault] = [fault for fault in STEP.validate(section(BTRFS), around) if not fault.warning]
    assert (fault.code, dotted(fault.path)) == ("family-lacks-file-system", "new[1].filesystem")
    assert fault.allowed == "ext4 or vfat"


def test_secrets_go_by_standard_input_only() -> None:
    found = actions(ENCRYPTED)
    for name in ("disk.encrypt-root", "disk.open-root"):
        [operation] = found[name].operations
        assert isinstance(operation, Call) and operation.stdin == (SecretRef("disk-passphrase"),)
        assert [secret.name for secret in found[name].secrets] == ["disk-passphrase"]


# --- the table of file systems ---------------------------------------------------------------------------------------

BTRFS = (
    WHOLE + NEW_ESP + '\n[[new]]\nname = "root"\nsize = "rest"\nfilesystem = "btrfs"\noptions = ["compress=zstd"]\n'
    'subvolumes = [{ name = "@", mount = "/" }, { name = "@home", mount = "/home", options = ["noatime"] }]\n'
)


def verified(text: str, folder: Path) -> str:
    """What findmnt(8) finds wrong with the text as a table, beyond devices and folders that are not on this machine,
    and the pass number of roots that fsck.xfs(8) and fsck.btrfs(8) leave unchecked."""
    file = folder / "fstab"
    file.write_text(text)
    told = subprocess.run(["findmnt", "--verify", "--tab-file", file], text=True, capture_output=True)
    known = (
        "unreachable",
        "does not exist",
        "Success",
        "parse errors",
        "but failed",
        "not found",
        "seems unsupported",
        "cannot detect",
        "root FS passno",
    )
    lines = [line.strip() for line in (told.stdout + told.stderr).splitlines() if "[" in line or "error" in line]
    assert "0 parse errors" in told.stdout + told.stderr
    return "\n".join(line for line in lines if not any(word in line for word in known))


@pytest.mark.parametrize("text", [PLAIN, BTRFS, ENCRYPTED], ids=["plain", "btrfs", "encrypted"])
def test_findmnt_takes_the_table(text: str, tmp_path: Path) -> None:
    assert verified(fstab(layout(text), section(text)), tmp_path) == ""


def test_lines_of_the_table() -> None:
    found = layout(PLAIN)
    root, swap = found.mounted("/"), found.role("swap")
    assert root is not None and swap is not None
    assert fstab(found, section(PLAIN)).splitlines()[1:] == [
        f"UUID={root.fs_uuid} / ext4 defaults 0 1",
        "UUID=0217-ABCD /boot/efi vfat umask=0077 0 2",
        f"UUID={swap.fs_uuid} none swap sw 0 0",
    ]
    lines = fstab(layout(BTRFS), section(BTRFS)).splitlines()
    assert [line.split()[1:] for line in lines[1:]] == [
        ["/", "btrfs", "subvol=@,compress=zstd", "0", "0"],
        ["/boot/efi", "vfat", "umask=0077", "0", "2"],
        ["/home", "btrfs", "subvol=@home,compress=zstd,noatime", "0", "0"],
    ]


def test_kept_data_is_never_mounted_now_and_never_stops_the_start() -> None:
    text = PLAIN.replace(
        'role = "system"\nshrink_to = "240GiB"', 'role = "data"\nmount = "/data"\nshrink_to = "240GiB"'
    )
    found = fstab(layout(text), section(text))
    assert "UUID=60667EEE480C7ABB /data ntfs3 nofail,x-systemd.device-timeout=10s 0 0" in found
    mounted = [operation.args[1] for operation in actions(text)["disk.mount"].operations if isinstance(operation, Call)]
    assert mounted == [InTarget("/"), InTarget("/boot/efi")]


def test_files_of_the_target_come_after_the_base() -> None:
    found = actions('swap_file = { size = "1GiB" }\n' + ENCRYPTED)
    for name in ("disk.fstab", "disk.crypttab"):
        [operation] = found[name].operations
        assert isinstance(operation, WriteFile) and found[name].stage is Stage.TARGET and "base" in found[name].needs
    assert found["disk.swap-file"].gives == ("swap:/swapfile",)
    assert f"mkdir -p {TARGET}" in [
        line for call in found["disk.mount"].operations if isinstance(call, Call) for line in call.by_hand
    ]


def decided(text: str) -> str:
    """The draft after a person has decided: what is erased, and where the key is kept."""
    text = text.replace('# recovery_key_place = "..."', 'recovery_key_place = "safe"')
    return re.sub(r'^# (table = |erases = |    "|\])', r"\1", text, flags=re.MULTILINE)


# --- the draft -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "found",
    [
        survey(),
        survey(evolve(DISK, serial="")),
        survey(evolve(DISK, serial="", by_id=())),
        survey(evolve(DISK, table=None, partitions=(), content="crypto_LUKS")),
        survey(evolve(DISK, serial='a"b\\c')),
        with_row(3, filesystem=SurveyedFileSystem(type="ntfs", used_bytes=80 * GIB, label='"\n[disk]')),
        survey(evolve(DISK, table=None, partitions=())),
        survey(evolve(DISK, table=None, partitions=(), sector_size=4096)),
        survey(DISK, evolve(DISK, serial="STICK", removable=True, size_bytes=1 << 42, table=None, partitions=())),
    ],
    ids=["shrink", "by-id", "model", "content", "odd-serial", "odd-label", "empty", "empty-4k", "stick"],
)
def test_a_draft_passes_its_own_check_once_what_it_erases_is_uncommented(found: Survey) -> None:
    text = draft(found, None)
    assert 'table = "new"' not in "".join(line for line in text.splitlines() if not line.startswith("#"))
    data = tomllib.loads(decided(text))["disk"]
    jsonschema.Draft202012Validator(bedplate_schema.load("disk")).validate(data)
    value = structured(data, DiskSection)
    around = Around(survey=found, section=value)
    assert STEP.validate is not None
    assert [fault.code for fault in STEP.validate(value, around) if not fault.warning] == []
    planned = STEP.facts[Layout](value, around)
    assert [part.mount for part in planned.partitions if part.new and part.mount] in (["/"], ["/boot/efi", "/"])
    assert len([part for part in planned.partitions if not part.new]) == len(data.get("keep", []))


def test_a_draft_of_an_encrypted_system_asks_for_the_key() -> None:
    text = draft(with_row(3, filesystem=SurveyedFileSystem(type="BitLocker")), None)
    other = tomllib.loads(text)["disk"]["other_system"]
    assert (other["encryption"], other["start_by"]) == ("on", "firmware-menu")
    assert "recovery_key_place" not in other and '# recovery_key_place = "..."' in text


@pytest.mark.parametrize(("memory", "swap"), [(1, 2048), (4, 4096), (16, 4096), (128, 4096)])
def test_swap_follows_the_handbook(memory: int, swap: int) -> None:
    """Swap table of an enterprise distribution's handbook: 2x below 2 GiB, 1x to 8 GiB, at least 4 GiB above."""
    data = tomllib.loads(draft(survey(memory=memory * GIB), None))["disk"]
    [found] = [new["size"] for new in data["new"] if new["filesystem"] == "swap"]
    assert found == f"{swap}MiB"
