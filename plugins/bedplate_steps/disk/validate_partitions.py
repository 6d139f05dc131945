"""What the spec asks for, looked at alone: names, file systems, labels, mount points, options, subvolumes.

Enters: the section. Leaves: faults with paths below the section.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bedplate.actions import TARGET
from bedplate.faults import Fault, Path, shown
from bedplate.units import Size, in_gib
from bedplate_steps.disk.model import DiskSection, Keep, New
from bedplate_steps.disk.partition_types import ESP_COMFORT, FILESYSTEMS, LUKS_HEADER, role_of

ESP_MOUNTS = ("/efi", "/boot", "/boot/efi")
"""Where an EFI system partition may be mounted: /efi and /boot of the Boot Loader Specification, /boot/efi by common
practice of two package families."""

XBOOTLDR_MOUNTS = ("/boot", "/xbootldr")
"""Where an extended boot partition may be mounted: /boot of the Boot Loader Specification, or beside it, so that /boot
with what packages bring stays on the root."""

SYSTEM_FOLDERS = ("/dev", "/proc", "/sys", "/run", "/tmp", "/bin", "/sbin", "/lib", "/lib64", "/etc", "/root", "/mnt")
"""Mount points no partition of a spec may take: they are the kernel's, or needed before anything is mounted (file
hierarchy of hier(7); /mnt holds the target during the installation)."""

OWN_FOLDERS = ("/", "/boot", "/efi", "/xbootldr", "/home", "/usr", "/var", "/opt", "/srv")
"""Folders of the new system itself: a kept data partition cannot stand in for them."""

FAT_REFUSED = ".+"
"""Of the characters the schema takes in a label, those mkfs.fat (dosfstools 4.2) refuses."""

FAT_LOWER = "lower-case letters in a FAT label show differently in other systems (mkfs.fat warns)"


def request_faults(section: DiskSection) -> Iterator[Fault]:
    """Everything that can be wrong with the wishes without looking at the machine."""
    yield from _twice("name-twice", "name", _names(section))
    yield from _twice("label-twice", "label", _labels(section))
    yield from _twice("mount-twice", "mount point", _mounts(section))
    for index, new in enumerate(section.new):
        yield from (fault.under("new", index) for fault in _new_faults(new))
    for index, keep in enumerate(section.keep):
        yield from (fault.under("keep", index) for fault in _keep_mount_faults(keep))


def _names(section: DiskSection) -> Iterator[tuple[str, Path]]:
    yield from ((keep.name, ("keep", index, "name")) for index, keep in enumerate(section.keep))
    yield from ((new.name, ("new", index, "name")) for index, new in enumerate(section.new))


def _labels(section: DiskSection) -> Iterator[tuple[str, Path]]:
    yield from ((new.label, ("new", index, "label")) for index, new in enumerate(section.new) if new.label)


def _mounts(section: DiskSection) -> Iterator[tuple[str, Path]]:
    for index, keep in enumerate(section.keep):
        if keep.mount:
            yield keep.mount, ("keep", index, "mount")
    for index, new in enumerate(section.new):
        if new.mount:
            yield new.mount, ("new", index, "mount")
        for inner, volume in enumerate(new.subvolumes):
            yield volume.mount, ("new", index, "subvolumes", inner, "mount")


def _twice(code: str, what: str, named: Iterable[tuple[str, Path]]) -> Iterator[Fault]:
    seen: dict[str, Path] = {}
    for word, path in named:
        if word in seen:
            yield Fault(code=code, message=f"this {what} is taken already", path=path, found=shown(word))
        seen.setdefault(word, path)


def _new_faults(new: New) -> Iterator[Fault]:
    yield from _label_faults(new)
    yield from _mount_faults(new.mount, ("mount",))
    for index, volume in enumerate(new.subvolumes):
        yield from _mount_faults(volume.mount, ("subvolumes", index, "mount"))
    yield from _place_faults(new)
    yield from _subvolume_faults(new)
    yield from _type_faults(new)
    if new.encrypt and new.filesystem == "vfat":
        yield Fault(
            code="encrypted-fat",
            message="a FAT volume is for the firmware, which cannot open a container",
            path=("encrypt",),
            found="true",
            allowed="false",
        )
    if "subvol" in {option.split("=")[0] for option in new.options}:
        yield Fault(
            code="option-refused",
            message="subvolumes have a list of their own",
            path=("options",),
            found="subvol=",
            allowed="[[disk.new.subvolumes]]",
        )


def _label_faults(new: New) -> Iterator[Fault]:
    limit = FILESYSTEMS[new.filesystem].label
    length = len(new.label.encode())
    if length > limit:
        yield Fault(
            code="label-too-long",
            message=f"the label has {length} bytes, {new.filesystem} holds {limit}",
            path=("label",),
            found=shown(new.label),
            allowed=f"at most {limit} bytes",
        )
    if new.filesystem == "vfat" and new.label != new.label.upper():
        yield Fault(
            code="label-lower-case",
            message=FAT_LOWER,
            path=("label",),
            found=shown(new.label),
            allowed=shown(new.label.upper()),
            warning=True,
        )
    if new.filesystem == "vfat" and new.label.upper() == "EFI":
        message = "some firmware finds no loader on a volume labelled EFI: it takes the label for the folder"
        yield Fault(code="label-efi", message=message, path=("label",), found=shown(new.label), allowed='"ESP"')
    strange = "".join(character for character in FAT_REFUSED if character in new.label)
    if new.filesystem == "vfat" and strange:
        yield Fault(
            code="label-characters",
            message=f"a FAT label cannot hold {shown(strange)}",
            path=("label",),
            found=shown(new.label),
            allowed="letters, digits, blank, _ -",
        )


def _mount_faults(mount: str, path: Path) -> Iterator[Fault]:
    if not mount:
        return
    parts = mount.split("/")[1:]
    if mount != "/" and (not all(parts) or "." in parts or ".." in parts):
        yield Fault(
            code="mount-not-plain",
            message="a mount point is an absolute path without //, . or .. or a last /",
            path=path,
            found=shown(mount),
            allowed='a path such as "/home"',
        )
    elif any(mount == folder or mount.startswith(folder + "/") for folder in SYSTEM_FOLDERS):
        yield Fault(
            code="mount-reserved",
            message="nothing of the disk can be mounted there",
            path=path,
            found=shown(mount),
            allowed=f"not below {', '.join(SYSTEM_FOLDERS)}, nor {TARGET}",
        )


def _place_faults(new: New) -> Iterator[Fault]:
    if new.filesystem == "swap" and (new.mount or new.subvolumes):
        yield Fault(
            code="swap-mounted",
            message="swap has no mount point",
            path=("mount",),
            found=shown(new.mount),
            allowed="no mount",
        )
    elif new.mount and new.subvolumes:
        yield Fault(
            code="mount-and-subvolumes",
            message="with subvolumes, each of them has the mount point",
            path=("mount",),
            found=shown(new.mount),
            allowed="either mount or subvolumes",
        )
    elif new.filesystem != "swap" and not new.mounts:
        yield Fault(
            code="nowhere-mounted",
            message=f"{new.name} has no mount point: nothing would use it",
            path=("name",),
            found=shown(new.name),
            warning=True,
        )
    if new.filesystem == "vfat" and "/" in new.mounts:
        yield Fault(
            code="root-on-fat",
            message="FAT has no owners and modes: no system can live on it",
            path=("filesystem",),
            found='"vfat"',
            allowed="ext4, xfs or btrfs",
        )


def _subvolume_faults(new: New) -> Iterator[Fault]:
    if new.subvolumes and new.filesystem != "btrfs":
        yield Fault(
            code="subvolumes-refused",
            message=f"{new.filesystem} has no subvolumes",
            path=("subvolumes",),
            found=f"{len(new.subvolumes)} subvolumes",
            allowed='filesystem = "btrfs"',
        )
    named = [(volume.name, ("subvolumes", index, "name")) for index, volume in enumerate(new.subvolumes)]
    yield from _twice("subvolume-twice", "subvolume", named)
    for name, path in named:
        if name in (".", ".."):
            yield Fault(code="subvolume-name", message="this is not a name", path=path, found=shown(name))


def _type_faults(new: New) -> Iterator[Fault]:
    wrong = {
        "esp": new.filesystem != "vfat",
        "swap": new.filesystem != "swap",
        "xbootldr": new.mount not in XBOOTLDR_MOUNTS,
        "root": "/" not in new.mounts,
    }
    if wrong.get(new.type, False) or (new.filesystem == "swap" and new.type not in ("", "swap")):
        message = f"a {new.filesystem} partition at {new.mount or 'no mount point'} is not of this type"
        yield Fault(
            code="type-contradicts",
            message=message,
            path=("type",),
            found=shown(new.type),
            allowed="leave type out: mount point and file system tell it",
        )
    elif new.filesystem == "vfat" and new.mount == "/boot" and not new.type:
        message = "a FAT partition at /boot can be the EFI system partition or an extended boot partition"
        yield Fault(
            code="boot-type-open",
            message=message,
            path=("mount",),
            found='"/boot"',
            allowed='type = "esp" or type = "xbootldr"',
        )
    elif role_of(new.filesystem, new.mounts, new.type) == "esp" and new.filesystem != "vfat":
        message = "firmware reads an EFI system partition only with FAT on it (UEFI specification 13.3)"
        yield Fault(
            code="esp-not-fat", message=message, path=("filesystem",), found=shown(new.filesystem), allowed='"vfat"'
        )


def _keep_mount_faults(keep: Keep) -> Iterator[Fault]:
    yield from _mount_faults(keep.mount, ("mount",))
    if keep.options and not keep.mount:
        message = "options without a mount point do nothing"
        yield Fault(code="options-unused", message=message, path=("options",), found=", ".join(keep.options))
    if keep.role == "esp":
        if keep.mount and keep.mount not in ESP_MOUNTS:
            yield Fault(
                code="esp-mount",
                message="the EFI system partition is mounted elsewhere by every tool",
                path=("mount",),
                found=shown(keep.mount),
                allowed=", ".join(ESP_MOUNTS),
            )
    elif keep.mount and (keep.role not in ("data", "other") or _own(keep.mount)):
        message = "of the kept partitions the new system may mount data, outside its own folders"
        yield Fault(
            code="kept-mount",
            message=message,
            path=("mount",),
            found=f"{keep.role} at {shown(keep.mount)}",
            allowed='role "data" at a folder such as "/data" or "/media/data"',
        )


def _own(mount: str) -> bool:
    return any(mount == folder or (folder != "/" and mount.startswith(folder + "/")) for folder in OWN_FOLDERS)


def size_faults(section: DiskSection, sizes: Iterable[int], sector_size: int) -> Iterator[Fault]:
    """Whether each new partition, `sizes` bytes once placed, is large enough for what goes on it."""
    for index, (new, size) in enumerate(zip(section.new, sizes, strict=True)):
        limits = FILESYSTEMS[new.filesystem]
        floor = limits.smallest_on(sector_size) + (LUKS_HEADER if new.encrypt else 0)
        words = f"{new.filesystem}{' in an encrypted container' if new.encrypt else ''}"
        if size < floor:
            yield Fault(
                code="too-small",
                message=f"{new.name} has {in_gib(size)}, {words} needs {in_gib(floor)} on this disk",
                path=("new", index, "size"),
                found=f'"{new.size}"',
                allowed=f"at least {in_gib(floor)}",
                notes=(f"source: {limits.source}",),
            )


def image_faults(section: DiskSection, sizes: Iterable[int], memory: int) -> Iterator[Fault]:
    """Whether the image of a hibernated system fits: swap of at least the memory (`memory` bytes, 0 if not known).

    The kernel aims at two fifths of the memory (admin-guide/pm/sleep-states, image_size) but promises nothing.
    """
    for index, (new, size) in enumerate(zip(section.new, sizes, strict=True)):
        if section.hibernate and new.filesystem == "swap" and size < memory:
            yield Fault(
                code="hibernate-small",
                message=f"{new.name} has {in_gib(size)}, the memory {in_gib(memory)}: the image might not fit",
                path=("new", index, "size"),
                found=f'"{new.size}"',
                allowed=f"at least {in_gib(memory)}, or hibernate = false",
            )


def comfort_faults(section: DiskSection) -> Iterator[Fault]:
    """A new EFI system partition that is large enough today and may not be tomorrow."""
    for index, new in enumerate(section.new):
        if role_of(new.filesystem, new.mounts, new.type) != "esp" or not isinstance(new.size, Size):
            continue
        if new.size.bytes < ESP_COMFORT:
            yield Fault(
                code="esp-small",
                message=f"{new.name} is smaller than {in_gib(ESP_COMFORT)}: kernels and firmware updates may not fit",
                path=("new", index, "size"),
                found=f'"{new.size}"',
                allowed=f"{in_gib(ESP_COMFORT)}, better 1 GiB",
                warning=True,
            )
