"""Layers: what lies between a disk and file systems, and belongs to an array, a group, a pool or a container.

Enters: a signature's type as libblkid names it, or a partition type. Leaves: the layer in words, and whether its data
is spread over several places, so that none of them may be touched alone.

Names of signatures: `blkid -k` of util-linux 2.38.1. GPT types: `sfdisk --label gpt -T` of the same version; codes of
the older tables: `sfdisk --label dos -T`, where 42 is named SFS and is a dynamic disk. `btrfs`: btrfs(5), num_devices.
"""

from __future__ import annotations

from collections.abc import Iterator

from attrs import frozen

from bedplate.survey import SurveyedDisk, SurveyedFileSystem, SurveyedPartition


@frozen(kw_only=True)
class Layer:
    """One kind of layer; `spreads` where other disks or partitions hold the rest of it."""

    description: str
    spreads: bool = True


_FIRMWARE = Layer(description="a member of a firmware RAID array")
_SOFTWARE = Layer(description="a member of a software RAID array")
_GROUP = Layer(description="a physical volume of a volume group (LVM)")
_POOL = Layer(description="a member of a ZFS pool")
_DYNAMIC = Layer(description="a part of dynamic disks")
_SPACE = Layer(description="a part of a storage space")
_APPLE = Layer(description="a member of an Apple RAID or Core Storage group")
_CEPH = Layer(description="a part of a Ceph store")
_VMFS = Layer(description="a part of a VMFS volume")
_VINUM = Layer(description="a part of a vinum volume")
_MAPPED = Layer(description="the lower half of a mapped device (snapshot, verity or integrity)")
_LUKS = Layer(description="an encrypted container (LUKS)", spreads=False)
_BITLOCKER = Layer(description="an encrypted volume (BitLocker)", spreads=False)
_APFS = Layer(description="an APFS container", spreads=False)
MULTI_BTRFS = Layer(description="one of several devices of a btrfs file system")
UNNAMED = Layer(description="a member of something that is named here by its type only")

SIGNATURES: dict[str, Layer] = {
    "linux_raid_member": _SOFTWARE,
    **dict.fromkeys(
        (
            "ddf",
            "isw",
            "lsi_mega",
            "via",
            "silicon_medley",
            "nvidia",
            "promise_fasttrack",
            "hpt45x",
            "hpt37x",
            "adaptec",
            "jmicron",
        ),
        _FIRMWARE,
    ),
    "LVM1_member": _GROUP,
    "LVM2_member": _GROUP,
    "zfs_member": _POOL,
    "bcache": Layer(description="a part of a block cache (bcache)"),
    "bcachefs": Layer(description="a device of a bcachefs file system"),
    "ceph_bluestore": _CEPH,
    "drbd": Layer(description="one side of a mirrored device (DRBD)"),
    "drbdmanage_control_volume": Layer(description="a control volume of mirrored devices (DRBD)"),
    "drbdproxy_datalog": Layer(description="a log of mirrored devices (DRBD)"),
    "DM_snapshot_cow": _MAPPED,
    "DM_verity_hash": _MAPPED,
    "DM_integrity": _MAPPED,
    "VMFS_volume_member": _VMFS,
    "VMFS": _VMFS,
    "vdo": Layer(description="the base of a deduplicated volume (VDO)"),
    "stratis": Layer(description="a block device of a Stratis pool"),
    "mpool": Layer(description="a device of an mpool"),
    "ubi": Layer(description="a flash volume group (UBI)"),
    "oracleasm": Layer(description="a member of an ASM disk group"),
    "xfs_external_log": Layer(description="the log of an xfs file system that lies elsewhere"),
    "jbd": Layer(description="the journal of an ext file system that lies elsewhere"),
    "mpath_member": Layer(description="one path to a disk that has several"),
    "crypto_LUKS": _LUKS,
    "BitLocker": _BITLOCKER,
    "cs_fvault2": _APPLE,
    "apfs": _APFS,
}
SIGNATURES |= {
    f"{name}_raid_member": SIGNATURES.pop(name) for name in list(SIGNATURES) if SIGNATURES[name] is _FIRMWARE
}
"""By the name libblkid has for the signature."""

PARTITION_TYPES: dict[str, Layer] = {
    "5808C8AA-7E8F-42E0-85D2-E1E90434CFB3": _DYNAMIC,
    "AF9B60A0-1431-4F62-BC68-3311714A69AD": _DYNAMIC,
    "E75CAF8F-F680-4CEE-AFA3-B001E56EFC2D": _SPACE,
    "A19D880F-05FC-4D3B-A006-743F0F84911E": _SOFTWARE,
    "49F48DAA-B10E-11DC-B99B-0019D1879648": _SOFTWARE,
    "E6D6D379-F507-44C2-A23C-238F2A3DF928": _GROUP,
    "CA7D7CCB-63ED-4C53-861C-1742536059CC": _LUKS,
    "516E7CBA-6ECF-11D6-8FF8-00022D09712B": _POOL,
    "85D5E45D-237C-11E1-B4B3-E89A8F7FC3A7": _POOL,
    "516E7CB8-6ECF-11D6-8FF8-00022D09712B": _VINUM,
    "85D5E45C-237C-11E1-B4B3-E89A8F7FC3A7": _VINUM,
    "7C3457EF-0000-11AA-AA11-00306543ECAC": _APFS,
    "52414944-0000-11AA-AA11-00306543ECAC": _APPLE,
    "52414944-5F4F-11AA-AA11-00306543ECAC": _APPLE,
    "53746F72-6167-11AA-AA11-00306543ECAC": _APPLE,
    "4FBD7E29-9D25-41B8-AFD0-062C0CEFF05D": _CEPH,
    "4FBD7E29-9D25-41B8-AFD0-5EC00CEFF05D": _CEPH,
    "AA31E02A-400F-11DB-9590-000C2911D1B8": _VMFS,
    "42": _DYNAMIC,
    "8E": _GROUP,
    "FD": _SOFTWARE,
}
"""By type GUID of a GPT, or type code of an older table, in upper case. `Solaris /usr & Apple ZFS` is two things and
therefore left to its signature."""

OWN_TABLE = {kind: layer for kind, layer in PARTITION_TYPES.items() if layer in (_DYNAMIC, _SPACE)}
"""Types of managers that keep a description of the whole table: no row may be added to it (Microsoft, documentation
of PARTITION_INFORMATION_GPT; the storage space by common practice, no source)."""

TABLES = ("gpt", "PMBR", "dos", "mac", "bsd", "sun", "sgi", "solaris-x86", "unixware", "ultrix", "atari", "aix")
"""What libblkid names partition tables; such a signature is no content."""


def of_signature(kind: str) -> Layer | None:
    """The layer a signature of that name belongs to; None for a file system, and for nothing."""
    return SIGNATURES.get(kind) or (UNNAMED if kind.endswith("_member") else None)


def inside(filesystem: SurveyedFileSystem | None) -> Layer | None:
    """The layer that what lies in a partition belongs to."""
    if filesystem is None:
        return None
    if filesystem.type == "btrfs" and (filesystem.devices or 1) > 1:
        return MULTI_BTRFS
    return of_signature(filesystem.type)


def of_partition(part: SurveyedPartition) -> Layer | None:
    """The layer a partition belongs to: by what lies in it, else by its type, since an empty look is no proof."""
    found = inside(part.filesystem)
    if found is not None:
        return found
    typed = PARTITION_TYPES.get(part.type.upper())
    return None if typed is not None and not typed.spreads and part.filesystem is not None else typed


def contents(disk: SurveyedDisk) -> tuple[str, ...]:
    """Names of the signatures on the disk itself, outside its partitions; tables are none."""
    names = (disk.content, *(signature.type for signature in disk.signatures))
    return tuple(name for name in dict.fromkeys(names) if name and name not in TABLES)


def around(disk: SurveyedDisk) -> Iterator[tuple[str, Layer]]:
    """The layers that the disk itself is in, each with the name of its signature."""
    for name in contents(disk):
        layer = of_signature(name)
        if layer is not None:
            yield name, layer


def described(disk: SurveyedDisk) -> Iterator[str]:
    """What the disk and its partitions belong to, one sentence each."""
    for name, layer in around(disk):
        yield f"The disk as a whole is {layer.description}, by its signature {name}: no room on it is free."
    for part in disk.partitions:
        owner = of_partition(part)
        if owner is not None:
            yield f"Partition {part.number} is {owner.description}."
