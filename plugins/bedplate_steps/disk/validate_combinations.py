"""Rules that join several parts of the section: one root, the EFI system partition, swap, hibernation, encryption.

Enters: the section, the surveyed disk, the survey. Leaves: faults with paths below the section.
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.faults import Fault, Path, one_of, shown
from bedplate.survey import Survey, SurveyedDisk, SurveyedPartition
from bedplate.units import MIB, in_gib
from bedplate_steps.disk.kept_linux import JOURNALS, is_linux
from bedplate_steps.disk.model import DiskSection, Keep, New
from bedplate_steps.disk.partition_types import BASIC_DATA, TYPES, role_of
from bedplate_steps.disk.validate_survey import row_of

LOADER_ROOM = 16 * MIB
"""Bytes a boot loader may take on a kept EFI system partition (common practice, no source)."""
KERNEL_ROOM = 400 * MIB
"""Bytes needed where kernels lie on it too: two of 150 MiB each with their initramfs, and room to replace one
(common practice, no source)."""

NEEDED = ("/", "/usr", "/etc", "/var", "/boot", "/boot/efi", "/efi", "/xbootldr")
"""Where packages of kernel and loader write, and what they stand on (file-hierarchy(7); /xbootldr is our own place)."""


TOP = (
    "bin",
    "boot",
    "dev",
    "efi",
    "etc",
    "home",
    "lib",
    "lib32",
    "lib64",
    "libx32",
    "lost+found",
    "media",
    "mnt",
    "opt",
    "proc",
    "root",
    "run",
    "sbin",
    "srv",
    "swap",
    "sys",
    "tmp",
    "usr",
    "var",
    "vmlinuz",
    "initrd.img",
)
"""Names in the root folder that are taken (FHS 3.0, chapter 3; the last two are links of kernel packages)."""


def rule_faults(section: DiskSection, disk: SurveyedDisk, survey: Survey) -> Iterator[Fault]:
    """Every rule, in the order a person would think of them."""
    yield from _root_faults(section)
    yield from _esp_faults(section, disk)
    yield from _swap_faults(section, disk)
    yield from _hibernation_faults(section, disk, survey.machine.memory_bytes)
    yield from _encryption_faults(section)
    yield from _late_faults(section)
    yield from _other_system_faults(section, disk)
    yield from _contradictions(section, disk)


def roles(section: DiskSection) -> list[tuple[int, New, str]]:
    """Index, wish and role of every new partition."""
    return [(i, new, role_of(new.filesystem, new.mounts, new.type)) for i, new in enumerate(section.new)]


def _root_faults(section: DiskSection) -> Iterator[Fault]:
    if not any("/" in new.mounts for new in section.new):
        yield Fault(
            code="no-root",
            message="nothing is mounted at /",
            path=("new",),
            allowed='one new partition (or subvolume) with mount = "/"',
        )


def _esp_faults(section: DiskSection, disk: SurveyedDisk) -> Iterator[Fault]:
    kept: list[tuple[Path, bool]] = [
        (("keep", i), bool(keep.mount)) for i, keep in enumerate(section.keep) if keep.role == "esp"
    ]
    made: list[tuple[Path, bool]] = [(("new", i), bool(new.mount)) for i, new, role in roles(section) if role == "esp"]
    used = [path for path, mounted in kept + made if mounted]
    if not used:
        where = kept[0][0] if kept else ("new",)
        yield Fault(
            code="no-esp",
            message="no EFI system partition is mounted: the firmware could start nothing",
            path=where,
            allowed='mount = "/boot/efi" on the kept or on a new EFI system partition',
        )
    for path in used[1:]:
        yield Fault(code="esp-twice", message="one EFI system partition is enough, and two are mounted", path=path)
    if kept and made:
        message = "the disk has an EFI system partition already; some firmware looks at the first one only"
        yield Fault(code="second-esp", message=message, path=made[0][0], warning=True)
    for index, keep in enumerate(section.keep):
        if keep.role == "esp" and keep.mount:
            yield from _kept_esp(section, index, disk)


def _kept_esp(section: DiskSection, index: int, disk: SurveyedDisk) -> Iterator[Fault]:
    keep = section.keep[index]
    row = row_of(keep, disk)
    inside = row.filesystem if row else None
    if row is None:
        return
    if inside is not None and inside.type != "vfat":
        yield Fault(
            code="esp-not-fat",
            message="there is no FAT file system on this EFI system partition",
            path=("keep", index, "partition"),
            found=inside.type,
            allowed="vfat",
        )
        return
    need = KERNEL_ROOM if keep.mount == "/boot" else LOADER_ROOM
    what = "kernels" if keep.mount == "/boot" else "the boot loader"
    if inside is None or inside.free_bytes is None:
        message = f"the survey does not know how much room {what} will find on {keep.name}"
        yield Fault(code="esp-room-unknown", message=message, path=("keep", index, "mount"), warning=True)
    elif inside.free_bytes < need:
        yield Fault(
            code="esp-full",
            message=f"{keep.name} has {in_gib(inside.free_bytes)} free, {what} may need {in_gib(need)}",
            path=("keep", index, "mount"),
            found=shown(keep.mount),
            allowed='mount = "/boot/efi", so that kernels stay on the root'
            if need == KERNEL_ROOM
            else "an EFI system partition with more room, or a new one",
        )


def _swap_file_place(path: str, section: DiskSection) -> Iterator[Fault]:
    """Only where neither people nor programs keep files of their own: common practice, no source."""
    own = [mount for new in section.new for mount in new.mounts if mount not in ("/home", "/root", "/tmp", *NEEDED)]
    folder, _, name = path.rpartition("/")
    folders = ("/", "/swap", "/var/swap", *own)
    if (folder or "/") in folders and name not in ("", ".", "..", *(() if folder else TOP)):
        return
    yield Fault(
        code="swap-file-place",
        message="a swap file does not belong there: it could take the name of something else",
        path=("swap_file", "path"),
        found=shown(path),
        allowed="a file of its own name, directly in " + one_of(folders),
    )


def _swap_faults(section: DiskSection, disk: SurveyedDisk) -> Iterator[Fault]:
    for row in disk.partitions if not section.whole_disk else ():
        if row.type.upper() != TYPES["swap"] or "63" in row.attributes:
            continue
        message = f"partition {row.number} is another system's swap, and the new system would switch it on by its type"
        path: Path = next(
            (("keep", i) for i, k in enumerate(section.keep) if k.partition.upper() == row.uuid.upper()), ("keep",)
        )
        yield Fault(
            code="foreign-swap",
            message=message,
            path=path,
            warning=True,
            notes=(
                "If that system hibernates, its session is lost (swapon(8)).",
                'The kernel parameter "systemd.gpt_auto=0" leaves it alone.',
            ),
        )
    if section.swap_file is not None:
        yield from _swap_file_place(section.swap_file.path, section)
    root = next((new for new in section.new if "/" in new.mounts), None)
    if section.swap_file is not None and root is not None and len(root.subvolumes) > 1:
        message = "a swap file keeps its btrfs subvolume from being snapshotted (btrfs(5))"
        yield Fault(code="swap-file-subvolume", message=message, path=("swap_file",), warning=True)


def _late_faults(section: DiskSection) -> Iterator[Fault]:
    """What packages write to is there whenever the machine runs: else an update goes into the bare folder beneath."""
    for path, mount, options in _mounted(section):
        late = [option for option in ("noauto", "nofail") if option in options]
        if not late or mount not in NEEDED or "x-systemd.automount" in options:
            continue
        message = f"{mount} could be missing without a word, and an update of kernel or loader go into an empty folder"
        yield Fault(
            code="mount-late",
            message=message,
            path=(*path, "options"),
            found=shown(late[0]),
            allowed="neither noauto nor nofail, or x-systemd.automount with it (systemd.mount(5))",
        )


def _mounted(section: DiskSection) -> Iterator[tuple[Path, str, tuple[str, ...]]]:
    for i, keep in enumerate(section.keep):
        yield ("keep", i), keep.mount, keep.options
    for i, new in enumerate(section.new):
        yield ("new", i), new.mount, new.options
        for j, volume in enumerate(new.subvolumes):
            yield ("new", i, "subvolumes", j), volume.mount, (*new.options, *volume.options)


def _hibernation_faults(section: DiskSection, disk: SurveyedDisk, memory: int) -> Iterator[Fault]:
    if not section.hibernate:
        return
    swaps = [(i, new) for i, new in enumerate(section.new) if new.filesystem == "swap"]
    allowed = f"one new swap partition of at least {in_gib(memory)}, the size of the memory"
    if len(swaps) != 1 or section.swap_file is not None:
        message = "the image of a hibernated system goes into one swap partition, which has to be the only one"
        yield Fault(code="hibernate-swap", message=message, path=("hibernate",), found="true", allowed=allowed)
    rows = [(keep.name, row) for keep in section.keep if (row := row_of(keep, disk)) is not None]
    linux = [name for name, row in rows if is_linux(row.filesystem.type if row.filesystem else "", row.type)]
    if linux:
        message = f"{linux[0]} belongs to another Linux: if that switches our swap on, the sleeping session is lost"
        yield Fault(
            code="hibernate-kept-linux",
            message=message,
            path=("hibernate",),
            found="true",
            warning=True,
            notes=(
                "Our rows carry attribute 63, so that it does not do so by their types. Look that its table "
                "of file systems does not name our swap.",
            ),
        )
    for index, keep in enumerate(section.keep):
        if keep.role == "esp" and keep.mount and "x-systemd.automount" not in keep.options:
            message = "two systems share the EFI system partition, and a hibernated one remembers it as it was"
            yield Fault(
                code="hibernate-shared-esp",
                message=message,
                path=("keep", index, "options"),
                warning=True,
                allowed='options = ["umask=0077", "noauto", "x-systemd.automount", "x-systemd.idle-timeout=2min"]',
            )
        if keep.mount and keep.role != "esp":
            message = "a partition that two systems write to is damaged when one of them hibernates"
            yield Fault(
                code="hibernate-shared",
                message=message,
                path=("keep", index, "mount"),
                found=shown(keep.mount),
                allowed="no mount, or hibernate = false",
            )


def _readable_swap(section: DiskSection, root: New | None) -> Iterator[Fault]:
    if root is None or root.encrypt or not any(new.encrypt for new in section.new if new.filesystem != "swap"):
        return
    message = "what is encrypted can be read in this swap: memory is written there as it is"
    for index, new in enumerate(section.new):
        if new.filesystem == "swap" and not new.encrypt:
            yield Fault(
                code="swap-readable", message=message, path=("new", index), warning=True, allowed="encrypt = true"
            )
    if section.swap_file is not None:
        yield Fault(
            code="swap-readable",
            message=message,
            path=("swap_file",),
            warning=True,
            allowed="an encrypted swap partition, or no swap",
        )


def _encryption_faults(section: DiskSection) -> Iterator[Fault]:
    root = next((new for new in section.new if "/" in new.mounts), None)
    yield from _readable_swap(section, root)
    if root is None or not root.encrypt:
        return
    plain_boot = any(("/boot" in new.mounts or new.type == "xbootldr") and not new.encrypt for new in section.new)
    plain_boot = plain_boot or any(keep.mount == "/boot" for keep in section.keep)
    if not plain_boot:
        message = "an encrypted root needs a /boot outside the container: the boot loader opens no Argon2 key slot"
        yield Fault(
            code="encrypted-root-no-boot",
            message=message,
            path=("new", section.new.index(root), "encrypt"),
            found="true",
            allowed='a new unencrypted partition with mount = "/boot"; for systemd-boot one with type = "xbootldr"',
            notes=("source: GRUB manual, cryptomount",),
        )
    for index, new in enumerate(section.new):
        if new.filesystem == "swap" and not new.encrypt:
            message = "swap beside an encrypted root has to be encrypted too: it holds what the memory held"
            yield Fault(
                code="swap-not-encrypted",
                message=message,
                path=("new", index, "name"),
                found=shown(new.name),
                allowed="encrypt = true",
            )


def _other_system_faults(section: DiskSection, disk: SurveyedDisk) -> Iterator[Fault]:
    systems = [(i, keep) for i, keep in enumerate(section.keep) if keep.role == "system"]
    other = section.other_system
    if other is None:
        if systems:
            message = "another system is kept: say how its volume encryption stands"
            yield Fault(
                code="other-system-missing",
                message=message,
                path=("keep", systems[0][0], "role"),
                found='"system"',
                allowed='[disk.other_system] with encryption = "none", ...',
            )
        return
    if other.encryption != "none" and not other.recovery_key_place.strip(" ."):
        message = "with volume encryption, say where the recovery key is kept (the place, never the key)"
        yield Fault(
            code="recovery-key-place",
            message=message,
            path=("other_system", "recovery_key_place"),
            found=shown(other.recovery_key_place),
            allowed='such as "safe in the office"',
        )
    if other.encryption != "none" and other.start_by == "chain-load":
        message = "an encrypted system started in two ways asks for its recovery key again and again"
        yield Fault(
            code="encrypted-chain-load",
            message=message,
            path=("other_system", "start_by"),
            found='"chain-load"',
            allowed='"firmware-menu"',
        )
    yield from _unseen_encryption(section, disk)


def _unseen_encryption(section: DiskSection, disk: SurveyedDisk) -> Iterator[Fault]:
    """An encrypted volume shows itself as such, a suspended one too: the plain volume inside is not seen from here."""
    other = section.other_system
    rows = [row_of(keep, disk) for keep in section.keep]
    inside = {row.filesystem.type for row in rows if row and row.filesystem}
    if other is None or other.encryption not in ("on", "suspended") or "BitLocker" in inside or "ntfs" not in inside:
        return
    message = "the survey saw no encrypted volume: what the spec says of it, or the survey, is out of date"
    yield Fault(
        code="encryption-not-seen",
        message=message,
        path=("other_system", "encryption"),
        warning=True,
        found=shown(other.encryption),
        allowed='"none" if that system says so, or a new survey',
    )


def _is_looked_at(keep: Keep, row: SurveyedPartition) -> bool:
    """Whether a guard of the script looks at how it was left."""
    kind = row.filesystem.type if row.filesystem else ""
    if kind == "ntfs":
        return keep.role in ("system", "data")
    return kind in (*JOURNALS, "swap", "swsuspend") or row.type.upper() == TYPES["swap"]


def _contradictions(section: DiskSection, disk: SurveyedDisk) -> Iterator[Fault]:
    other = section.other_system
    for index, keep in enumerate(section.keep):
        row = row_of(keep, disk)
        inside = row.filesystem if row else None
        if row is None or inside is None:
            continue
        if other is not None and other.encryption == "none" and inside.type == "BitLocker":
            message = f"the survey found {keep.name} encrypted"
            yield Fault(
                code="encryption-contradicts",
                message=message,
                path=("other_system", "encryption"),
                found='"none"',
                allowed='"on" or "suspended"',
            )
        if inside.dirty:
            why = f": {inside.unclean}" if inside.unclean else ""
            message = f"{keep.name} was hibernated or not shut down cleanly when the survey was taken{why}"
            yield Fault(
                code="volume-dirty",
                message=message,
                path=("keep", index),
                warning=True,
                notes=("The script stops until the other system has been shut down fully.",)
                if _is_looked_at(keep, row)
                else ("The script cannot look into it: shut its system down fully before you begin.",),
            )
        if row.type.upper() == BASIC_DATA and keep.role == "other" and inside.type in ("ntfs", "BitLocker"):
            message = f'{keep.name} holds {inside.type}: if another system lives there, its role is "system"'
            yield Fault(code="role-other", message=message, path=("keep", index, "role"), warning=True)
