"""Layers: signatures made by their own tools, or written as their published formats have them, are seen wherever they
lie, named in words, and stop a plan and a script.

Formats: md(4) and include/uapi/linux/raid/md_p.h (0.90: magic at the last 64 KiB boundary but one; 1.x: magic, major
version, place of itself at 144, checksum at 216); Intel and SNIA DDF records as libblkid 2.38.1 reads them
(superblocks/isw_raid.c, ddf_raid.c). That the bytes are such records is blkid's word here, not ours.
"""

from __future__ import annotations

import os
import re
import struct
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from attrs import evolve

from accidents.staging import Place
from bedplate import storage_layers
from bedplate.survey import SurveyedDisk, SurveyedFileSystem, SurveyedSignature
from bedplate.surveying import capture, summary
from bedplate_steps.disk import partition_types
from test_collector import SCRIPT, the_disk
from test_disk import DISK, NEW_ESP, PLAIN, ROOT, ROWS, WHOLE, faults, survey, with_row

MIB = 1 << 20
SIZE = 64 * MIB
LINUX = "0FC63DAF-8483-4772-8E79-3D69D8477DE4"
GPT = f"label: gpt\nlabel-id: 11111111-2222-4333-8444-555555555555\nstart=2048, size=20480, type={LINUX}\n"


def call(*argv: object, text: str | None = None) -> str:
    ran = subprocess.run([str(word) for word in argv], input=text, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, f"{argv}: {ran.stdout}{ran.stderr}"
    return ran.stdout


@contextmanager
def attached(image: Path) -> Iterator[str]:
    """The image as a disk of this machine."""
    if os.getuid() != 0 or not Path("/dev/loop-control").exists():
        pytest.skip("a loop device needs root and /dev/loop-control")
    node = call("losetup", "--find", "--show", image).strip()
    try:
        yield node
    finally:
        subprocess.run(["partx", "--delete", node], check=False, capture_output=True)
        call("losetup", "--detach", node)


def surveyed(image: Path) -> SurveyedDisk:
    with attached(image) as node:
        return the_disk(capture.survey_from(call("sh", SCRIPT, node)), node)


def blank(image: Path, table: str = "", size: int = SIZE) -> Path:
    with image.open("wb") as file:
        file.truncate(size)
    if table:
        call("sfdisk", "--quiet", "--no-reread", "--no-tell-kernel", image, text=table)
    return image


def put(image: Path, at: int, content: bytes) -> None:
    with image.open("r+b") as file:
        file.seek(at)
        file.write(content)


# --- records -------------------------------------------------------------------------------------------------------


def md_1(at: int) -> Callable[[Path], None]:
    """A superblock of version 1.x at byte `at`, counted from the end if negative."""

    def write(image: Path) -> None:
        place = at if at >= 0 else (image.stat().st_size // 512 - 16) // 8 * 8 * 512
        block = bytearray(256)
        struct.pack_into("<III4x16s32s", block, 0, 0xA92B4EFC, 1, 0, bytes(range(16)), b"saltmarsh:mirror")
        struct.pack_into("<QiI", block, 64, 1_700_000_000, 1, 0)
        struct.pack_into("<QIi", block, 80, 50_000, 0, 2)
        struct.pack_into("<QQQ", block, 128, 2048, 50_000, place // 512)
        block[168:184] = bytes(range(32, 48))
        words = struct.unpack("<64I", bytes(block))
        total = sum(words)
        struct.pack_into("<I", block, 216, (total & 0xFFFFFFFF) + (total >> 32))
        put(image, place, bytes(block))

    return write


def md_0(image: Path) -> None:
    size = image.stat().st_size
    block = struct.pack("<11I", 0xA92B4EFC, 0, 90, 0, 0, 1, 2, 1, 50_000, 2, 2)
    put(image, size // 65536 * 65536 - 65536, block.ljust(4096, b"\0"))


def isw(image: Path) -> None:
    put(image, image.stat().st_size - 1024, b"Intel Raid ISM Cfg Sig. 1.1.00".ljust(512, b"\0"))


def ddf(image: Path) -> None:
    size = image.stat().st_size
    lba = size // 512 - 8
    header = struct.pack(">II24s8s", 0xDE11DE11, 0, b"SALTMARSH DDF RECORD 000", b"01.02.00").ljust(96, b"\0")
    header += struct.pack(">QQ", lba, lba)
    for at in (size - 512, lba * 512):
        put(image, at, header.ljust(512, b"\0"))


BEHIND = {"md-1.0": md_1(-1), "md-0.90": md_0, "isw": isw, "ddf": ddf}
"""Records at a disk's end, where they leave a partition table alone."""
NAMES = {"md": "linux_raid_member", "isw": "isw_raid_member", "ddf": "ddf_raid_member"}


@pytest.mark.parametrize("kind", BEHIND)
def test_a_record_behind_a_table_is_seen_and_nothing_is_planned_on_that_disk(kind: str, tmp_path: Path) -> None:
    image = blank(tmp_path / "disk", GPT)
    BEHIND[kind](image)
    name = NAMES[kind.split("-")[0]]
    assert f"TYPE={name}" in call("blkid", "-p", "-o", "export", image)
    disk = surveyed(image)
    assert disk.table is not None and [one.type for one in disk.signatures] == [name]
    told = " ".join(summary.notes(survey(disk)))
    assert f"RAID array, by its signature {name}: no room on it is free" in told
    assert f"({name}): what looks like free room may belong to that" in " ".join(disk.faults)
    for text in (PLAIN, WHOLE + NEW_ESP + ROOT):
        found = faults(text, survey(evolve(DISK, signatures=disk.signatures)))["disk-in-layer"]
        assert "a member of a" in found.message and found.found == name


@pytest.mark.parametrize("kind", BEHIND)
def test_nobody_is_told_to_move_a_table_over_a_record(kind: str, tmp_path: Path) -> None:
    """A table made inside an array ends before the disk does, as if the disk had grown."""
    image = blank(tmp_path / "disk", GPT)
    with image.open("r+b") as file:
        file.truncate(SIZE + 8 * MIB)
    assert "sgdisk -e" in " ".join(surveyed(image).faults)
    BEHIND[kind](image)
    [header, _] = surveyed(image).faults
    assert "sgdisk" not in header and "belongs to what the disk is, a member of a" in header


def test_what_nobody_knows_behind_a_table_is_doubt(tmp_path: Path) -> None:
    image = blank(tmp_path / "disk", GPT)
    with image.open("r+b") as file:
        file.truncate(SIZE + 8 * MIB)
    put(image, SIZE + 8 * MIB - 4096, b"\x01")
    [fault] = surveyed(image).faults
    assert "sgdisk" not in fault and "nobody knows what lies behind it" in fault


# --- wherever they lie -----------------------------------------------------------------------------------------------


def group(node: str) -> None:
    options = ("--devices", node, "--config", "devices/use_devicesfile=0 activation/udev_sync=0")
    call("pvcreate", "--yes", *options, node)
    call("vgcreate", "--yes", *options, "saltmarsh", node)
    call("vgrename", *options, "saltmarsh", "reedbed")


def container(node: str) -> None:
    call(
        "cryptsetup",
        "luksFormat",
        "--batch-mode",
        "--pbkdf",
        "pbkdf2",
        "--pbkdf-force-iterations",
        "1000",
        node,
        "-",
        text="a passphrase",
    )


def cache(node: str) -> None:
    call("make-bcache", "--bdev", node)


def of_md(version: str) -> Callable[[str], None]:
    return lambda node: md_1({"1.1": 0, "1.2": 4096}[version])(Path(node))


TOOLS = {
    "LVM2_member": group,
    "crypto_LUKS": container,
    "bcache": cache,
    "md-1.1": of_md("1.1"),
    "md-1.2": of_md("1.2"),
}


@pytest.mark.parametrize("kind", TOOLS)
def test_a_layer_is_seen_on_a_bare_disk_and_in_a_partition(kind: str, tmp_path: Path) -> None:
    name = NAMES.get(kind.split("-")[0], kind)
    words = storage_layers.SIGNATURES[name].description
    with attached(blank(tmp_path / "bare")) as node:
        TOOLS[kind](node)
        bare = the_disk(capture.survey_from(call("sh", SCRIPT, node)), node)
    with attached(blank(tmp_path / "divided", GPT.replace("size=20480", "size=65536"))) as node:
        call("partx", "--update", node)
        TOOLS[kind](f"{node}p1")
        divided = the_disk(capture.survey_from(call("sh", SCRIPT, node)), node)
    assert (bare.content, {one.type for one in bare.signatures}) == (name, {name})
    assert any(words in sentence for sentence in storage_layers.described(bare))
    assert f"Partition 1 is {words}." in list(storage_layers.described(divided))
    assert divided.signatures == () and divided.faults == ()
    inside = divided.partitions[0].filesystem
    assert inside is not None
    if name == "LVM2_member":
        # The newest of the descriptions counts: the group was renamed.
        assert inside.group == bare.signatures[0].group == "reedbed" and len(inside.group_uuid) == 38


def test_a_file_system_of_two_devices_is_a_layer_and_of_one_is_none(tmp_path: Path) -> None:
    table = GPT.replace("size=20480", "size=262144")
    images = [blank(tmp_path / name, table, 160 * MIB) for name in ("one", "two", "three")]
    with attached(images[0]) as one, attached(images[1]) as two, attached(images[2]) as three:
        for node in (one, two, three):
            call("partx", "--update", node)
        call("mkfs.btrfs", "--quiet", f"{one}p1", f"{two}p1")
        call("mkfs.btrfs", "--quiet", f"{three}p1")
        found = capture.survey_from(call("sh", SCRIPT, one, two, three))
    owners = {disk.path: storage_layers.of_partition(disk.partitions[0]) for disk in found.disks}
    assert owners == {one: storage_layers.MULTI_BTRFS, two: storage_layers.MULTI_BTRFS, three: None}
    assert "is one of several devices of a btrfs file system" in " ".join(summary.notes(found))


def test_every_member_libblkid_knows_has_words_and_one_it_will_know_is_doubt() -> None:
    known = call("blkid", "-k").split()
    assert len(known) > 60
    members = [name for name in known if name.endswith("_member")]
    assert [
        name
        for name in (
            *members,
            "bcache",
            "drbd",
            "vdo",
            "stratis",
            "crypto_LUKS",
            "BitLocker",
            "apfs",
            "ubi",
            "DM_integrity",
            "ceph_bluestore",
        )
        if name not in storage_layers.SIGNATURES
    ] == []
    file_systems = {"ext4", "xfs", "btrfs", "vfat", "ntfs", "swap", "iso9660", "exfat", "hfsplus"}
    assert not file_systems & set(storage_layers.SIGNATURES)
    newer = storage_layers.of_signature("tidepool_raid_member")
    assert newer is not None and newer.spreads


def test_types_of_layers_are_those_sfdisk_lists() -> None:
    told = call("sfdisk", "--label", "gpt", "-T") + call("sfdisk", "--label", "dos", "-T")
    listed = {match[1].upper() for match in re.finditer(r"^\s*([0-9A-Fa-f-]+)  ", told, re.MULTILINE)}
    assert set(storage_layers.PARTITION_TYPES) - {partition_types.LUKS} <= listed  # that one is sgdisk's: test_gpt.py


# --- spec against survey -----------------------------------------------------------------------------------------


def test_a_second_use_beside_a_table_and_a_lost_member_are_refused() -> None:
    odd = survey(evolve(DISK, signatures=(SurveyedSignature(type="btrfs", offset=65600),)))
    assert "also covered by something else" in faults(PLAIN, odd)["content-and-table"].message
    member = with_row(4, filesystem=SurveyedFileSystem(type="LVM2_member"), type=LINUX)
    assert "partition 4, which is a physical volume" in faults(WHOLE + NEW_ESP + ROOT, member)["member-lost"].message
    plain = faults(WHOLE + NEW_ESP + ROOT, survey(evolve(DISK, partitions=ROWS[:3])))
    assert not {"member-lost", "disk-in-layer"} & set(plain)


def test_a_member_is_never_mounted() -> None:
    found = with_row(4, filesystem=SurveyedFileSystem(type="linux_raid_member"), type=LINUX)
    text = PLAIN.replace('role = "recovery"', 'role = "data"\nmount = "/data"')
    assert "holds no file system" in faults(text, found)["kept-mount-layer"].message


# --- the guard of the script ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", BEHIND)
def test_the_script_stops_at_a_record_that_came_after_the_survey(kind: str) -> None:
    place = Place()
    place.table(f"start=2048, size=20480, type={LINUX}\n")
    place.holds("disk/disk-bears-only", "gpt", "PMBR")
    BEHIND[kind](place.disk)
    assert NAMES[kind.split("-")[0]] in place.says("disk/disk-bears-only", "gpt", "PMBR")


def test_a_tool_that_fails_or_prints_nothing_is_no_answer() -> None:
    place = Place()
    place.table(f"start=2048, size=20480, type={LINUX}\n")
    place.says("disk/disk-bears-only", "gpt", "PMBR", fakes={"wipefs": "echo cannot >&2; return 1"})
    assert "sees no gpt" in place.says("disk/disk-bears-only", "gpt", "PMBR", fakes={"wipefs": "return 0"})
