"""Tables of the trade: partition types and the limits of file systems, each with its source.

Enters: roles and file-system names. Leaves: type GUIDs (upper case), smallest sizes in bytes, label limits in bytes.
"""

from __future__ import annotations

from attrs import frozen

from bedplate.units import MIB

BASIC_DATA = "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7"
RESERVED = "E3C9E316-0B5C-4DB8-817D-F92DF00215AE"
RECOVERY = "DE94BBA4-06D1-4D40-A16A-BFD50179D6AC"
LUKS = "CA7D7CCB-63ED-4C53-861C-1742536059CC"
"""Type GUIDs as `sfdisk --label gpt -T` lists them; the LUKS one is code 8309 of sgdisk 1.0.9."""

TYPES: dict[str, str] = {
    "esp": "C12A7328-F81F-11D2-BA4B-00A0C93EC93B",
    "xbootldr": "BC13C2FF-59E6-4262-A352-B275FD6F7172",
    "home": "933AC7E1-2EB4-4F13-B844-0E14E2AEF915",
    "srv": "3B8F8425-20E0-4F3B-907F-1A25A76F98E8",
    "var": "4D21B016-B534-45C2-A9FB-5C16E091FD2D",
    "var-tmp": "7EC6F557-3BC5-4ACA-B293-16EF5DF639D1",
    "swap": "0657FD6D-A4AB-43C4-84E5-0933C84B4F4F",
    "linux": "0FC63DAF-8483-4772-8E79-3D69D8477DE4",
}
"""By role. UEFI specification 5.3.3 (EFI system partition); Discoverable Partitions Specification 1.0 (the rest)."""

PER_ARCHITECTURE: dict[str, dict[str, str]] = {
    "amd64": {"root": "4F68BCE3-E8CD-4DB1-96E7-FBCAF984B709", "usr": "8484680C-9521-48C6-9C11-B0720656F69E"},
    "arm64": {"root": "B921B045-1DF0-41C3-AF44-4C6F280D3FAE", "usr": "B0E01050-EE5F-4390-949A-9101B17104E9"},
}
"""Types that differ by architecture. Discoverable Partitions Specification 1.0."""

LINUX = frozenset(
    (
        *(TYPES[role] for role in ("home", "srv", "var", "var-tmp", "swap", "linux")),
        *(guid for guids in PER_ARCHITECTURE.values() for guid in guids.values()),
        LUKS,
        "E6D6D379-F507-44C2-A23C-238F2A3DF928",
        "A19D880F-05FC-4D3B-A006-743F0F84911E",
    )
)
"""Types that only Linux systems give: those above, logical volumes and RAID (`sfdisk --label gpt -T`)."""

_BY_MOUNT = {
    "/": "root",
    "/home": "home",
    "/srv": "srv",
    "/var": "var",
    "/var/tmp": "var-tmp",
    "/usr": "usr",
    "/efi": "esp",
    "/boot/efi": "esp",
}


def role_of(filesystem: str, mounts: tuple[str, ...], chosen: str = "") -> str:
    """The role of a new partition: the chosen one, or what its mount points tell."""
    if chosen:
        return "data" if chosen == "linux" else chosen
    if filesystem == "swap":
        return "swap"
    roles = [_BY_MOUNT[mount] for mount in sorted(mounts, key=len) if mount in _BY_MOUNT]
    return roles[0] if roles else "data"


def type_of(role: str, architecture: str, encrypted: bool) -> str:
    """The partition type GUID of a new partition. An encrypted one without a role of its own is typed LUKS."""
    if role == "data" and encrypted:
        return LUKS
    return PER_ARCHITECTURE[architecture].get(role) or TYPES.get(role, TYPES["linux"])


@frozen(kw_only=True)
class Limits:
    """What a file system can be. `smallest` in bytes for sectors of 512 bytes, `label` in bytes."""

    smallest: int
    label: int
    tool: str
    """The command that makes it."""
    namer: str
    """The command that changes its label."""
    source: str
    smallest_4k: int = 0
    """For sectors of 4096 bytes, where it differs."""

    def smallest_on(self, sector_size: int) -> int:
        """Smallest size in bytes on sectors of `sector_size` bytes."""
        return self.smallest_4k if sector_size == 4096 and self.smallest_4k else self.smallest


FILESYSTEMS: dict[str, Limits] = {
    "ext4": Limits(
        smallest=8 * MIB,
        label=16,
        tool="mkfs.ext4",
        namer="e2label",
        source="mke2fs(8); room for a journal is common practice",
    ),
    "xfs": Limits(
        smallest=300 * MIB,
        label=12,
        tool="mkfs.xfs",
        namer="xfs_admin",
        source="mkfs.xfs 6.1.0 refuses less than 300 MiB",
    ),
    "btrfs": Limits(
        smallest=109 * MIB, label=254, tool="mkfs.btrfs", namer="btrfs", source="mkfs.btrfs 6.2 refuses less"
    ),
    "vfat": Limits(
        smallest=33 * MIB,
        smallest_4k=257 * MIB,
        label=11,
        tool="mkfs.fat",
        namer="fatlabel",
        source="FAT specification: FAT32 has at least 65525 clusters",
    ),
    "swap": Limits(smallest=MIB, label=15, tool="mkswap", namer="swaplabel", source="mkswap(8): at least 10 pages"),
}
"""By the name used in the spec. mkfs.btrfs takes labels of 255 bytes, of which blkid 2.38.1 reads 254."""

LUKS_HEADER = 16 * MIB
"""Bytes a LUKS2 header takes from a partition (cryptsetup-luksFormat(8): default data offset)."""
LUKS_LABEL = 47
"""Bytes of a LUKS2 label (cryptsetup 2.6.1)."""
ESP_COMFORT = 512 * MIB
"""A new EFI system partition below this gets a warning (common practice, no source)."""
RESERVE = 1024 * MIB
"""Bytes left free beyond used ones when a volume is shrunk, at least. ntfsresize(8) names 20 to 200 MB for the tool
and 50 to 100 MB for the system's start; the rounding up is common practice, no source."""
