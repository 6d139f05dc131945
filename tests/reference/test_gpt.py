"""GPT bounds, partition types, FAT limits and label limits against the specifications and the tools that use them."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from bedplate import storage_layers
from bedplate.layout import Room, Wanted, new_table, place, usable
from bedplate.regions import aligned_mib, free_regions
from bedplate.survey import PartitionTable
from bedplate.units import GIB, MIB, parse_request
from bedplate_steps.disk import partition_types

WORKED = [
    ("64 GiB", 68719476736, 512, 134217728, 34, 134217694, 2048, 134215679, 65534),
    ("64 GiB", 68719476736, 4096, 16777216, 6, 16777210, 256, 16776959, 65534),
    ("500 GB", 500107862016, 512, 976773168, 34, 976773134, 2048, 976773119, 476939),
    ("500 GB", 500107862016, 4096, 122096646, 6, 122096640, 256, 122096639, 476939),
    ("256 GB", 256060514304, 512, 500118192, 34, 500118158, 2048, 500117503, 244197),
    ("1 TB", 1000204886016, 512, 1953525168, 34, 1953525134, 2048, 1953523711, 953868),
    ("1 TB", 1000204886016, 4096, 244190646, 6, 244190640, 256, 244190463, 953868),
]
"""Words, bytes, sector size, sectors, first and last usable sector, aligned first and last, aligned MiB.

Worked by hand from the UEFI specification, 5.3.1: an entry array of at least 16384 bytes after header and protective
MBR, and before the second header at the end; 1 MiB alignment as sfdisk(8) does it."""


@pytest.mark.parametrize(("words", "size", "sector", "count", "first", "last", "begin", "end", "mib"), WORKED)
def test_bounds_of_the_specification(
    words: str, size: int, sector: int, count: int, first: int, last: int, begin: int, end: int, mib: int
) -> None:
    assert size // sector == count, words
    assert usable(size, sector) == (first, last)
    assert new_table(size, sector) == (MIB // sector, last)
    assert aligned_mib(first, last, sector) == mib
    table = PartitionTable(label="gpt", first_lba=first, last_lba=last)
    whole = Room(sector_size=sector, regions=free_regions(table, (), sector))
    [spot] = place([Wanted(name="all", request=parse_request("rest"))], whole)
    assert (spot.start, spot.start + spot.size - 1) == (begin, end)


@pytest.mark.parametrize("size", [68719476736, 500107862016, 256060514304, 1000204886016])
def test_bounds_of_a_table_that_sfdisk_makes(size: int, tmp_path: Path) -> None:
    image = tmp_path / "disk.img"
    with image.open("wb") as file:
        file.truncate(size)
    subprocess.run(["sfdisk", "--quiet", image], input="label: gpt\n", text=True, check=True, capture_output=True)
    told = subprocess.run(["sfdisk", "--json", image], text=True, check=True, capture_output=True).stdout
    table: dict[str, Any] = json.loads(told)["partitiontable"]
    assert (table["firstlba"], table["lastlba"]) == new_table(size, 512)


def test_the_efi_system_partition_of_the_worked_example() -> None:
    """512 MiB at the start: sector 2048, 1048576 sectors of 512 bytes; sector 256, 131072 of 4096 (sfdisk 2.38.1)."""
    for sector, start, size in ((512, 2048, 1048576), (4096, 256, 131072)):
        first, last = usable(64 * GIB, sector)
        table = PartitionTable(label="gpt", first_lba=first, last_lba=last)
        where = Room(sector_size=sector, regions=free_regions(table, (), sector))
        [spot] = place([Wanted(name="esp", request=parse_request("512MiB"))], where)
        assert (spot.number, spot.start, spot.size) == (1, start, size)


# --- partition types -------------------------------------------------------------------------------------------------

NAMED = {
    "EFI System": partition_types.TYPES["esp"],
    "Linux extended boot": partition_types.TYPES["xbootldr"],
    "Linux home": partition_types.TYPES["home"],
    "Linux server data": partition_types.TYPES["srv"],
    "Linux variable data": partition_types.TYPES["var"],
    "Linux temporary data": partition_types.TYPES["var-tmp"],
    "Linux swap": partition_types.TYPES["swap"],
    "Linux filesystem": partition_types.TYPES["linux"],
    "Linux root (x86-64)": partition_types.PER_ARCHITECTURE["amd64"]["root"],
    "Linux root (ARM-64)": partition_types.PER_ARCHITECTURE["arm64"]["root"],
    "Linux /usr (x86-64)": partition_types.PER_ARCHITECTURE["amd64"]["usr"],
    "Linux /usr (ARM-64)": partition_types.PER_ARCHITECTURE["arm64"]["usr"],
    "Microsoft basic data": partition_types.BASIC_DATA,
    "Microsoft reserved": partition_types.RESERVED,
    "Windows recovery environment": partition_types.RECOVERY,
    "Microsoft LDM metadata": "5808C8AA-7E8F-42E0-85D2-E1E90434CFB3",
    "Microsoft LDM data": "AF9B60A0-1431-4F62-BC68-3311714A69AD",
}


def test_type_guids_are_those_sfdisk_lists() -> None:
    told = subprocess.run(["sfdisk", "--label", "gpt", "-T"], text=True, check=True, capture_output=True).stdout
    listed = {match[2].strip(): match[1] for match in re.finditer(r"^([0-9A-F-]{36})\s+(.*)$", told, re.MULTILINE)}
    assert {name: listed[name] for name in NAMED} == NAMED
    assert {"5808C8AA-7E8F-42E0-85D2-E1E90434CFB3", "AF9B60A0-1431-4F62-BC68-3311714A69AD"} < set(
        storage_layers.OWN_TABLE
    )


def test_the_type_of_an_encrypted_container_is_that_of_sgdisk() -> None:
    """sgdisk(8) code 8309; sfdisk 2.38.1 does not list it."""
    told = subprocess.run(["sgdisk", "--list-types"], text=True, check=True, capture_output=True).stdout
    assert re.search(r"8309\s+Linux LUKS", told)
    assert (
        partition_types.type_of("data", "amd64", encrypted=True)
        == partition_types.LUKS
        == "CA7D7CCB-63ED-4C53-861C-1742536059CC"
    )


@pytest.mark.parametrize(
    ("filesystem", "mounts", "chosen", "role"),
    [
        ("ext4", ("/",), "", "root"),
        ("btrfs", ("/home", "/"), "", "root"),
        ("xfs", ("/srv",), "", "srv"),
        ("swap", (), "", "swap"),
        ("vfat", ("/boot/efi",), "", "esp"),
        ("vfat", ("/boot",), "xbootldr", "xbootldr"),
        ("ext4", ("/boot",), "", "data"),
        ("ext4", ("/data",), "linux", "data"),
        ("ext4", ("/usr",), "", "usr"),
    ],
)
def test_roles(filesystem: str, mounts: tuple[str, ...], chosen: str, role: str) -> None:
    """Discoverable Partitions Specification 1.0: the type tells the mount point."""
    assert partition_types.role_of(filesystem, mounts, chosen) == role


# --- FAT -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("sector", "floor"), [(512, 33), (4096, 257)])
def test_fat32_floor_is_where_mkfs_fat_stops_warning(sector: int, floor: int, tmp_path: Path) -> None:
    """65525 clusters of one sector, 32 reserved sectors and two tables (FAT specification, mkfs.fat(8)): the first
    whole MiB that holds them. Below, mkfs.fat only warns and ends with 0."""
    clusters = 65525
    table = -(-(clusters + 2) * 4 // sector)
    assert floor - 1 < (clusters + 2 * table + 32) * sector / MIB <= floor
    assert partition_types.FILESYSTEMS["vfat"].smallest_on(sector) == floor * MIB
    assert "WARNING" in fat(tmp_path, sector, floor - 1) and "WARNING" not in fat(tmp_path, sector, floor)


def fat(folder: Path, sector: int, mib: int) -> str:
    image = folder / "fat.img"
    with image.open("wb") as file:
        file.truncate(mib * MIB)
    ran = subprocess.run(["mkfs.fat", "-F", "32", "-s", "1", "-S", str(sector), image], text=True, capture_output=True)
    assert ran.returncode == 0
    return ran.stdout + ran.stderr


# --- file systems ----------------------------------------------------------------------------------------------------


def made(tool: str, folder: Path, mib: int, *options: str) -> subprocess.CompletedProcess[str]:
    image = folder / "fs.img"
    image.unlink(missing_ok=True)
    with image.open("wb") as file:
        file.truncate(mib * MIB)
    path = shutil.which(tool)
    assert path is not None
    return subprocess.run([path, *options, str(image)], text=True, capture_output=True)


def label(folder: Path) -> str:
    told = ["blkid", "-p", "-o", "value", "-s", "LABEL", str(folder / "fs.img")]
    return subprocess.run(told, text=True, capture_output=True).stdout.strip()


@pytest.mark.parametrize(("name", "options"), [("xfs", ("-q", "-f")), ("btrfs", ("-q", "-f"))])
def test_the_smallest_is_what_the_tool_takes(name: str, options: tuple[str, ...], tmp_path: Path) -> None:
    limits = partition_types.FILESYSTEMS[name]
    assert limits.smallest % MIB == 0
    assert made(limits.tool, tmp_path, limits.smallest // MIB, *options).returncode == 0
    assert made(limits.tool, tmp_path, limits.smallest // MIB - 1, *options).returncode != 0


@pytest.mark.parametrize("name", ["ext4", "xfs", "btrfs", "vfat", "swap"])
def test_a_label_of_the_limit_is_kept_whole_and_a_longer_one_is_not(name: str, tmp_path: Path) -> None:
    """Refused (xfs, btrfs, vfat) or cut (ext4, swap): either way not what was asked for."""
    limits = partition_types.FILESYSTEMS[name]
    flag = {"vfat": "-n"}.get(name, "-L")
    quiet = {"xfs": ("-q", "-f"), "btrfs": ("-q", "-f"), "ext4": ("-q", "-F"), "vfat": ("-F", "32"), "swap": ()}[name]
    exact = ("ABCDEFGHIJ" * 30)[: limits.label]
    assert made(limits.tool, tmp_path, 320, *quiet, flag, exact).returncode == 0
    assert label(tmp_path) == exact
    longer = made(limits.tool, tmp_path, 320, *quiet, flag, exact + "Z")
    assert longer.returncode != 0 or label(tmp_path) == exact
