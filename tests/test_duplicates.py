"""Twins: one identity in two places, in a survey and on the machine of the script, with real tables and file systems.

What identifies what: blkid(8), sfdisk(8), btrfs(5) (UUID of the file system, UUID_SUB of a device), lvm(8).
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest
from attrs import evolve

from accidents.staging import Place
from bedplate.duplicates import duplicates
from bedplate.survey import PartitionTable, SurveyedDisk, SurveyedFileSystem, SurveyedPartition, SurveyedSignature
from bedplate.surveying import capture, summary
from test_disk import DISK, ESP, PLAIN, ROOT, ROWS, SWAP, TABLE, faults, survey, with_row
from test_storage_layers import GPT, attached, blank, call, group

LINUX = "0FC63DAF-8483-4772-8E79-3D69D8477DE4"
OTHER = SurveyedDisk(
    path="/dev/sdb",
    serial="SM-USB-9",
    model="Saltmarsh Box",
    size_bytes=1 << 37,
    readable=True,
    table=PartitionTable(label="gpt", id="22222222-2222-4333-8444-555555555555"),
)


def part(guid: str, number: int = 1, /, **inside: object) -> SurveyedPartition:
    filled = SurveyedFileSystem(**inside) if inside else None  # type: ignore[arg-type]
    return SurveyedPartition(number=number, start=2048 * number, size=1024, type=LINUX, uuid=guid, filesystem=filled)


def one(number: int) -> str:
    return f"33333333-2222-4333-8444-{number:012d}"


def words(*parts: SurveyedPartition, disk: SurveyedDisk = OTHER) -> list[str]:
    return [twin.description for twin in duplicates(survey(DISK, evolve(disk, partitions=parts)))]


# --- in a survey -----------------------------------------------------------------------------------------------------


def test_a_copied_disk_is_one_fault_that_names_both() -> None:
    copied = evolve(DISK, path="/dev/sdc", serial="SM-USB-7", transport="usb")
    found = survey(DISK, copied)
    [twin] = duplicates(found)
    assert TABLE.id in twin.description and "/dev/nvme0n1" in twin.description and "/dev/sdc" in twin.description
    assert "serial SM-NVME-0217" in twin.description and "serial SM-USB-7" in twin.description
    assert "unplug the copy" in " ".join(summary.troubles(found))
    assert "SM-USB-7" in faults(PLAIN, found)["twins"].message


@pytest.mark.parametrize(
    ("again", "told"),
    [
        (part(ESP), "partition GUID"),
        (part(one(1), type="ext4", uuid="0217-4B1E"), "UUID (ext4) 0217-4B1E"),
        (part(one(1), type="vfat", uuid="0217-4b1e"), "UUID (vfat) 0217-4B1E"),
    ],
)
def test_one_thing_of_it_is_enough(again: SurveyedPartition, told: str) -> None:
    base = with_row(1, filesystem=SurveyedFileSystem(type="vfat", uuid="0217-4B1E")).disks[0]
    if "ext4" in told:
        base = with_row(1, filesystem=SurveyedFileSystem(type="ext4", uuid="0217-4B1E")).disks[0]
    [twin] = duplicates(survey(base, evolve(OTHER, partitions=(again,))))
    assert told in twin.description and "partition 1 of /dev/sdb" in twin.description


def test_members_share_an_identity_and_their_copies_do_not() -> None:
    def mirror(member: str) -> dict[str, str]:
        return {"type": "linux_raid_member", "uuid": "A", "member": member, "label": "saltmarsh:mirror"}

    def volume(uuid: str, its: str) -> dict[str, str]:
        return {"type": "LVM2_member", "uuid": uuid, "group": "reedbed", "group_uuid": its}

    assert words(part(one(1), **mirror("1")), part(one(2), 2, **mirror("2"))) == []
    assert "member identity" in words(part(one(1), **mirror("1")), part(one(2), 2, **mirror("1")))[0]
    namesake = mirror("2") | {"uuid": "B"}
    assert "array or pool name" in words(part(one(1), **mirror("1")), part(one(2), 2, **namesake))[0]
    assert words(part(one(1), **volume("p", "g")), part(one(2), 2, **volume("q", "g"))) == []
    assert "volume group" in words(part(one(1), **volume("p", "g")), part(one(2), 2, **volume("q", "h")))[0]


def test_what_is_alike_by_nature_is_no_twin() -> None:
    """Old tables without an identifier, the image of a live medium, a firmware mirror that shows one table twice."""
    old = evolve(OTHER, table=PartitionTable(label="dos", id="0x00000000"))
    image = evolve(OTHER, signatures=(SurveyedSignature(type="iso9660", uuid="2026-11-01-10-00-00-00"),))
    inner = part(one(1), type="iso9660", uuid="2026-11-01-10-00-00-00")
    record = (SurveyedSignature(type="isw_raid_member"),)
    halves = [evolve(OTHER, path=path, serial=path, signatures=record, partitions=(part(one(1)),)) for path in "ab"]
    assert duplicates(survey(DISK, old, evolve(old, path="/dev/sdc"), *halves)) == ()
    assert words(inner, disk=image) == []


def test_a_label_that_something_has_is_refused_wherever_it_is() -> None:
    elsewhere = survey(DISK, evolve(OTHER, partitions=(part(one(1), type="ext4", label="kelp-root"),)))
    [fault] = [faults(PLAIN, elsewhere)["label-in-use"]]
    assert "partition 1 of /dev/sdb" in fault.message and fault.path == ("new", 0, "label")
    assert "label-in-use" in faults(PLAIN, with_row(4, filesystem=SurveyedFileSystem(type="xfs", label="kelp-swap")))
    assert "label-in-use" not in faults(PLAIN, survey(DISK, evolve(OTHER, partitions=ROWS[:0])))
    assert 'label = "kelp-root"' in ROOT and 'label = "kelp-swap"' in SWAP


def test_the_name_of_a_group_is_read_from_the_disk(tmp_path: Path) -> None:
    """Two groups of one name on two disks, made by lvm itself."""
    with attached(blank(tmp_path / "a")) as one_disk, attached(blank(tmp_path / "b")) as other:
        group(one_disk)
        group(other)
        found = capture.survey_from(call("sh", "-c", capture.collect_script(), "-", one_disk, other))
    [twin] = duplicates(found)
    assert "volume group" in twin.description.lower() and one_disk in twin.description and other in twin.description


# --- on the machine of the script --------------------------------------------------------------------------------


class Disks(Place):
    """Images that stand for all disks of the machine; lsblk names them, blkid and wipefs look at them."""

    def __init__(self) -> None:
        super().__init__()
        self.table(f"start=2048, size=20480, type={LINUX}, uuid={one(1)}\n")
        self.rows = [f"{self.disk} disk ", f"{self.path}/first part {self.disk}"]
        self.image("first", "mkfs.ext4 -q -U 44444444-2222-4333-8444-555555555555 -L heron")

    def image(self, name: str, command: str) -> Path:
        path = self.put(name)
        with path.open("wb") as file:
            file.truncate(32 << 20)
        subprocess.run([*command.split(), str(path)], check=True, capture_output=True)
        return path

    def add(self, name: str, kind: str = "disk", parent: str = "") -> None:
        self.rows.append(f"{self.path}/{name} {kind} {parent}")

    def tells(self, ours: str = "", **fakes: str) -> str:
        """What the guard says; empty if it is content."""
        listed = "\n".join(self.rows)
        lsblk = f"case $1 in -nrpo) printf '%s\\n' '{listed}' ;; *) echo 'Saltmarsh Box' ;; esac"
        code, said = self.run("disk/no-twins", "keep", stdin=ours, fakes={"lsblk": lsblk, **fakes})
        assert (code == 0) == (not said), said
        return said


def test_a_machine_of_single_things_passes() -> None:
    disks = Disks()
    disks.image("second", "mkfs.ext4 -q")
    disks.add("second")
    assert disks.tells(f"part {one(9)}\nuuid 55555555-2222-4333-8444-555555555555\nlabel root\n") == ""


def test_the_script_stops_at_a_copied_disk_and_a_copied_file_system() -> None:
    disks = Disks()
    shutil.copy(disks.disk, disks.path / "copy")
    disks.add("copy")
    said = disks.tells()
    assert "disk 11111111-2222-4333-8444-555555555555 is there more than once" in said
    assert str(disks.disk) in said and f"{disks.path}/copy" in said and "Saltmarsh Box" in said
    disks = Disks()
    shutil.copy(disks.path / "first", disks.path / "copy")
    disks.add("copy")
    assert "uuid 44444444-2222-4333-8444-555555555555 is there more than once" in disks.tells()


def test_the_script_stops_where_a_name_of_ours_is_in_use() -> None:
    disks = Disks()
    assert "label heron is to be ours, and is in use" in disks.tells("label heron\n")
    assert "is to be ours" in disks.tells("uuid 44444444-2222-4333-8444-555555555555\n")


def test_the_script_stops_at_two_groups_of_one_name(tmp_path: Path) -> None:
    disks = Disks()
    for name in ("one", "two"):
        with attached(blank(disks.path / name)) as node:
            group(node)
        disks.add(name)
    assert "volume-group reedbed is there more than once" in disks.tells()


@pytest.mark.parametrize("body", ["echo cannot >&2; return 2", "return 4", "echo broken >&2; return 127"])
def test_a_tool_that_fails_is_doubt(body: str) -> None:
    assert "blkid could not tell" in Disks().tells(blkid=body)


def test_a_list_of_disks_without_ours_is_doubt() -> None:
    disks = Disks()
    disks.rows = disks.rows[1:]
    assert "does not list" in disks.tells()


def test_the_image_of_a_medium_is_no_twin_of_its_partition() -> None:
    disks = Disks()
    disks.image("stick", "mkfs.ext4 -q -U 66666666-2222-4333-8444-555555555555")
    shutil.copy(disks.path / "stick", disks.path / "stick1")
    disks.add("stick")
    disks.add("stick1", "part", f"{disks.path}/stick")
    assert disks.tells() == ""


def test_real_devices_are_told_apart(tmp_path: Path) -> None:
    """With lsblk itself, on a disk of this machine; loop devices of others do not count."""
    place = Place()
    with attached(blank(tmp_path / "disk", GPT)) as node:
        call("partx", "--update", node)
        place.disk = Path(node)
        code, said = place.run("disk/no-twins", "keep")
    assert code == 0, said
