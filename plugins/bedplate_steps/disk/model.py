"""The `[disk]` section: the disk, what is kept on it and what is made."""

from typing import Literal

from bedplate.schema import Keywords, key, table
from bedplate.units import Request, Size

PARTITION_NAME = Keywords(pattern="^[a-z][a-z0-9-]*$", maxLength=35)
MOUNT_POINT = Keywords(pattern="^/[A-Za-z0-9._@+/-]*$", maxLength=255)
OPTION = Keywords(
    title="Mount option", description="One option, no commas or blanks: noatime.", pattern="^[A-Za-z0-9_.:=/@%+-]+$"
)


@table(title="Kept partition")
class Keep:
    """One partition that must survive untouched. With table = "keep" every partition the survey found is listed."""

    name: str = key("What the spec calls it: lower-case letters, digits and dashes.", PARTITION_NAME)
    partition: str = key(
        "Unique GUID of the partition, as the survey shows it.",
        title="Partition GUID",
        pattern="^[0-9A-Fa-f]{8}(-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}$",
    )
    role: Literal["esp", "system", "reserved", "recovery", "data", "other"] = key(
        "What it is for: EFI system partition, another operating system, reserved, recovery, data, or other."
    )
    mount: str = key(
        "Where the new system mounts it, an absolute path of letters, digits and . _ @ + - between slashes: "
        "/efi, /boot or /boot/efi for the EFI system partition, a folder outside the system such as /srv/factory "
        "for data. It is never formatted.",
        MOUNT_POINT,
        title="Mount point",
        default="",
    )
    options: tuple[str, ...] = key(
        "Mount options of the new system's table of file systems.",
        title="Mount options",
        uniqueItems=True,
        items=OPTION,
        default=(),
    )
    shrink_to: Size | None = key(
        "Size it is to have after a person has shrunk it in the other system. Bedplate never resizes a kept "
        "partition. A survey taken after the shrink shows that size: take the word out then.",
        default=None,
    )


@table(title="Subvolume")
class SubvolumeWish:
    """One btrfs subvolume."""

    name: str = key("Name at the top of the volume, such as @home.", pattern="^[A-Za-z0-9_.@+-]+$", maxLength=255)
    mount: str = key(
        "Where it is mounted: an absolute path of letters, digits and . _ @ + - between slashes, such as /home.",
        MOUNT_POINT,
        title="Mount point",
    )
    options: tuple[str, ...] = key(
        "Mount options of this subvolume.", title="Mount options", uniqueItems=True, items=OPTION, default=()
    )


@table(title="New partition")
class New:
    """One partition that is made."""

    name: str = key(
        "What the spec calls it, and its name in the partition table: lower-case letters, digits and dashes, at "
        "most 35.",
        PARTITION_NAME,
    )
    size: Request = key(
        "A size such as 56GiB or 500GB (rounded up to whole MiB), a share of the free room such as 25%, or rest (once)."
    )
    filesystem: Literal["ext4", "xfs", "btrfs", "vfat", "swap"] = key("What it is formatted with.", title="File system")
    label: str = key(
        "Label of the file system: letters, digits, blank, and . _ + - between (no . or + on vfat); at most 16 "
        "bytes on ext4, 12 on xfs, 11 on vfat, 15 on swap, 254 on btrfs.",
        pattern="^[A-Za-z0-9_]([A-Za-z0-9 _.+-]*[A-Za-z0-9_.+-])?$",
        default="",
    )
    mount: str = key(
        "Where it is mounted: an absolute path of letters, digits and . _ @ + - between slashes, such as /home. "
        "Not for swap, nor where subvolumes are given.",
        MOUNT_POINT,
        title="Mount point",
        default="",
    )
    options: tuple[str, ...] = key("Mount options.", title="Mount options", uniqueItems=True, items=OPTION, default=())
    type: Literal["root", "esp", "xbootldr", "home", "srv", "var", "var-tmp", "usr", "swap", "linux", ""] = key(
        "Partition type by role, where the mount point does not tell it. xbootldr: FAT beside the EFI system "
        "partition for the kernels of systemd-boot, at /boot or /xbootldr.",
        title="Partition type",
        default="",
    )
    encrypt: bool = key(
        "Put the file system into an encrypted container (LUKS2); the passphrase is asked.", default=False
    )
    subvolumes: tuple[SubvolumeWish, ...] = key("Subvolumes of a btrfs volume, with their mount points.", default=())

    @property
    def mounts(self) -> tuple[str, ...]:
        """Every mount point it serves, its own or those of its subvolumes."""
        own = (self.mount,) if self.mount else ()
        return own + tuple(volume.mount for volume in self.subvolumes)


@table
class SwapFile:
    """A swap file in the new system."""

    size: Size = key("Size of the file, rounded up to whole MiB.")
    path: str = key(
        "Where the file lies in the new system: an absolute path of letters, digits and . _ @ + - between "
        "slashes, such as /swapfile.",
        pattern="^/[A-Za-z0-9._@+-][A-Za-z0-9._@+/-]*$",
        maxLength=255,
        default="/swapfile",
    )


@table(title="The other system")
class OtherSystem:
    """Cautions about the operating system that stays."""

    encryption: Literal["none", "suspended", "on", "unknown"] = key(
        "State of its volume encryption: none, suspended (protection is off until it is enabled again), on, or "
        "unknown (nobody has looked yet: the steps for the recovery key stay in). Many machines come encrypted "
        "without having asked.",
        title="Volume encryption",
    )
    recovery_key_place: str = key(
        "Where the recovery key is kept (a safe, a folder on paper); never the key itself. Needed unless "
        "encryption is none.",
        title="Place of the recovery key",
        default="",
    )
    start_by: Literal["firmware-menu", "chain-load"] = key(
        "How the other system is started: by the firmware's boot menu, or from the new boot loader. An encrypted "
        "one must keep to one way: the firmware's.",
        title="Started by",
        default="firmware-menu",
    )


@table(title="Disk")
class DiskSection:
    """The disk, what is kept on it and what is made. The disk is named by serial, by by_id, or by model and size
    together; never by a name such as sda, which changes between starts."""

    serial: str = key(
        "Serial number of the disk, as the survey shows it.", title="Serial number", minLength=1, default=""
    )
    by_id: str = key(
        "Stable path below /dev/disk/by-id/.",
        title="Path by id",
        pattern="^/dev/disk/by-id/[A-Za-z0-9_.:+=-]+$",
        default="",
    )
    model: str = key(
        "Model of the disk, together with size, for disks without a serial number.", minLength=1, default=""
    )
    size: Size | None = key("Exact size of the disk, such as 512110190592 B, together with model.", default=None)
    table: Literal["keep", "new", ""] = key(
        "keep: new partitions are appended and every other row stays. new: a new table is made and everything on "
        "the disk is lost; erases names all of it. No word: nobody has decided yet, and nothing is planned.",
        title="Partition table",
        default="",
    )
    erases: tuple[str, ...] = key(
        'With table = "new": everything the survey saw on the disk, one line each, the table first, then what '
        "lies on the disk itself, then each partition; for a blank disk the one word nothing. If something is "
        "missing or different, the fault shows what has to stand here.",
        title="What is erased",
        uniqueItems=True,
        items=Keywords(
            title="Erased thing",
            description="As the survey saw it: table gpt DISK-GUID; disk TYPE UUID; partition NUMBER GUID: TYPE UUID; "
            "or nothing.",
            minLength=1,
        ),
        default=(),
    )
    removable: bool = key(
        "Whether the new system shall go onto a disk that can be unplugged: on USB, FireWire or a card reader. "
        "Without it such a disk is refused: it may be the stick of the live medium or somebody's backup.",
        title="Removable disk",
        default=False,
    )
    swap_file: SwapFile | None = None
    hibernate: bool = key(
        "Whether the new system shall be able to hibernate; needs one swap partition at least as large as the memory.",
        title="Hibernation",
        default=False,
    )
    keep: tuple[Keep, ...] = key("Every partition that stays.", title="Kept partitions", default=())
    new: tuple[New, ...] = key(
        "Partitions to make, in the order they shall lie on the disk.", title="New partitions", minItems=1
    )
    other_system: OtherSystem | None = None

    @property
    def whole_disk(self) -> bool:
        """Whether the table is made anew and everything on the disk is lost."""
        return self.table == "new"
