"""A Linux that stays on the disk: how it is known, whether it was shut down, and what keeps it from taking ours.

Enters: kept partitions of the layout. Leaves: whether one is of a Linux, checks, the attribute of our rows.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from bedplate import conditions
from bedplate.actions import Check
from bedplate.facts import LaidPartition
from bedplate.survey import SurveyedDisk, SurveyedPartition
from bedplate.units import GIB
from bedplate_steps.disk import inspect
from bedplate_steps.disk.partition_types import LINUX, PER_ARCHITECTURE, TYPES

JOURNALS = ("ext2", "ext3", "ext4", "xfs", "btrfs")
"""File systems whose open journal, log or log tree can be seen from outside."""
NO_AUTO = "GUID:63"
"""Discoverable Partitions Specification 1.0: no other system mounts or swaps to a partition by its type alone."""
_BY_TYPE = ("root", "home", "srv", "var", "var-tmp", "usr", "swap")
"""Roles whose partition types that specification lets a system use unasked."""
SMALLEST = 4 * GIB
"""Bytes below which a partition is no root (common practice, no source)."""
_ROOTS = {guids["root"] for guids in PER_ARCHITECTURE.values()}
_LOADER = re.compile(r"^/EFI/(?!BOOT/)[^/]+/(grub|shim|systemd-boot)[^/]*$", re.IGNORECASE)
"""Loaders that other systems do not bring; the fallback folder is anybody's (UEFI specification 3.5.1.1)."""
_GROUPS = ("LVM2_member", "crypto_LUKS", "linux_raid_member", "zfs_member", "bcache")


def is_linux(filesystem: str, type_guid: str) -> bool:
    """Whether a partition is one that a Linux made for itself."""
    return filesystem in (*JOURNALS, *_GROUPS, "swap", "swsuspend") or type_guid.upper() in LINUX


def root_of(disk: SurveyedDisk) -> tuple[SurveyedPartition | None, str]:
    """The root of another Linux on the disk, as far as anything shows it, and what shows it: a loader that only such
    systems have, then a partition type. Where several could be it, the first."""
    loader = next((path for part in disk.partitions for path in part.files if _LOADER.search(path)), "")
    by_type = next((part for part in disk.partitions if part.type.upper() in _ROOTS and part.filesystem), None)
    if by_type is not None:
        return by_type, "its type is that of a root" + (f", and the loader {loader} is there" if loader else "")
    large = [part for part in disk.partitions if part.size * disk.sector_size >= SMALLEST and _could_be_root(part)]
    plain = [part for part in large if part.filesystem and part.filesystem.type in JOURNALS]
    root = next(iter(plain or large), None)
    if not loader or root is None:
        return None, ""
    others = [str(part.number) for part in large if part is not root]
    doubt = f"; it could be partition {' or '.join(others)}" if others else ""
    return root, f"the loader {loader} is there{doubt}"


def _could_be_root(part: SurveyedPartition) -> bool:
    inside = part.filesystem.type if part.filesystem else ""
    roles = {TYPES[role] for role in ("home", "srv", "var", "var-tmp", "xbootldr", "esp")}
    return inside in (*JOURNALS, *_GROUPS) and part.type.upper() not in roles


def any_kept(partitions: Sequence[LaidPartition]) -> bool:
    """Whether a partition of another Linux stays on the disk."""
    return any(is_linux(part.filesystem, part.type) for part in partitions if not part.new)


def attributes(part: LaidPartition, partitions: Sequence[LaidPartition]) -> str:
    """What the row of a new partition says besides type and name, as sfdisk reads it; empty if nothing."""
    return f', attrs="{NO_AUTO}"' if part.role in _BY_TYPE and any_kept(partitions) else ""


def tools(kept: Sequence[LaidPartition]) -> tuple[str, ...]:
    """The tools that the guards need."""
    return ("xfs_logprint",) if any(part.filesystem == "xfs" for part in kept) else ()


def guards(kept: Sequence[LaidPartition]) -> Iterator[Check]:
    """No system sleeps in a kept swap partition, and no kept file system was left open."""
    for part in kept:
        if part.filesystem in JOURNALS:
            yield conditions.holds(
                f"{part.name} was left clean: no open journal, log or log tree",
                "disk/volume-is-clean",
                part.uuid,
                part.filesystem,
                by_hand=inspect.left_clean(part),
                otherwise="Start the system it belongs to and shut it down fully (no hibernation). If it is mounted "
                "here, unmount it. Never repair or mount it for writing from here: a sleeping system would destroy it.",
            )
        if part.type == TYPES["swap"] or part.filesystem in ("swap", "swsuspend"):
            yield conditions.holds(
                f"No system sleeps in the swap partition {part.name}",
                "disk/swap-is-awake",
                part.uuid,
                by_hand=inspect.awake(part),
                otherwise="Start the system it belongs to and shut it down fully; its session would be lost. A system "
                "that sleeps in a swap file is seen by its file system, which it leaves open.",
            )
