"""The survey: what one machine is. Made by `bedplate.surveying.capture` from raw tool output, or read from TOML.

All sector numbers count logical sectors of `sector_size` bytes on that disk.
"""

from bedplate.schema import Keywords, key, table

FORMAT = 1
"""Version of the survey's shape."""

NAME = Keywords(pattern="^[0-9A-Za-z_.+-]*$")
IDENTITY = Keywords(pattern="^[0-9A-Za-z:-]*$")


@table(title="File system")
class SurveyedFileSystem:
    """What blkid and the file-system tools say about the inside of a partition."""

    type: str = key(
        "Type as blkid names it: ext4, vfat, ntfs, swap, crypto_LUKS, BitLocker and so on.", NAME, minLength=1
    )
    version: str = key("Version as blkid reports it, FAT32 for example.", default="")
    label: str = key("Label of the file system.", pattern=None, default="")
    uuid: str = key("UUID or volume id as blkid prints it.", IDENTITY, title="UUID", default="")
    used_bytes: int | None = key("Bytes in use; left out if not known.", title="Used", minimum=0, default=None)
    free_bytes: int | None = key("Bytes free; left out if not known.", title="Free", minimum=0, default=None)
    min_bytes: int | None = key(
        "Bytes the file system's own tool would shrink it to at least; left out if not known.",
        title="Smallest size",
        minimum=0,
        default=None,
    )
    dirty: bool | None = key(
        "True if the volume is hibernated or was not shut down cleanly; left out if no tool could tell.", default=None
    )
    unclean: str = key("Why it is dirty, in words; empty if it is not, or if no tool told why.", default="")
    member: str = key(
        "Identity of this one member, where the UUID is that of the whole array, pool or file system.",
        IDENTITY,
        default="",
    )
    group: str = key("Name of the volume group whose physical volume this is.", NAME, title="Volume group", default="")
    group_uuid: str = key(
        "Identity of that volume group.", title="Group identity", pattern="^[0-9A-Za-z-]*$", default=""
    )
    devices: int | None = key(
        "How many devices the file system has, where it can have several; left out if not known.",
        minimum=1,
        default=None,
    )


@table(title="Signature")
class SurveyedSignature:
    """One signature."""

    type: str = key("Type as libblkid names it: isw_raid_member, LVM2_member, ext4 and so on.", NAME, minLength=1)
    offset: int | None = key(
        "Where it lies, in bytes from the beginning of the disk; left out if not known.", minimum=0, default=None
    )
    uuid: str = key("UUID as libblkid prints it.", IDENTITY, title="UUID", default="")
    label: str = key("Label, or name of the array or pool.", pattern=None, default="")
    member: str = key(
        "Identity of this one member, where the UUID is that of the whole array, pool or file system.",
        IDENTITY,
        default="",
    )
    group: str = key("Name of the volume group whose physical volume this is.", NAME, title="Volume group", default="")
    group_uuid: str = key(
        "Identity of that volume group.", title="Group identity", pattern="^[0-9A-Za-z-]*$", default=""
    )


@table(title="Partition")
class SurveyedPartition:
    """One row of the partition table."""

    number: int = key("Number of the row, counted from 1.", minimum=1, maximum=1024)
    start: int = key("First sector, in logical sectors of the disk.", minimum=0)
    size: int = key("Length in logical sectors of the disk.", minimum=1)
    type: str = key("Type GUID in upper case; on a table of another kind its own type code.", NAME, minLength=1)
    uuid: str = key(
        "Unique GUID of the partition in upper case; empty on a table that has none.",
        title="Unique GUID",
        pattern="^$|^[0-9A-F]{8}-[0-9A-F]{4}-[0-9A-F]{4}-[0-9A-F]{4}-[0-9A-F]{12}$|^[0-9A-F]{8}-[0-9A-F]{2}$",
        default="",
    )
    name: str = key("Name in the table.", pattern=None, default="")
    attributes: str = key("Attribute bits as sfdisk prints them.", default="")
    filesystem: SurveyedFileSystem | None = None
    mounted_at: tuple[str, ...] = key(
        "Where it was mounted during the survey; [SWAP] for swap in use.",
        items=Keywords(title="Mount point", description="One mount point.", pattern=None),
        default=(),
    )
    holders: tuple[str, ...] = key(
        "Active devices built on top of it.",
        items=Keywords(title="Holder", description="Name of one device.", pattern=None),
        default=(),
    )
    files: tuple[str, ...] = key(
        "Paths of boot loaders found on an EFI system partition.",
        title="Loader files",
        items=Keywords(title="Path", description="Path from the top of the partition, with slashes.", pattern="^/"),
        default=(),
    )

    @property
    def end(self) -> int:
        """The last sector, inclusive."""
        return self.start + self.size - 1


@table
class FreeRegion:
    """A run of sectors that no partition covers."""

    # both ends inclusive, inside the usable sectors of the table

    start: int = key("First free sector.", minimum=0)
    end: int = key("Last free sector.", minimum=0)
    aligned_mib: int = key("Whole MiB left when both ends are aligned to 1 MiB.", title="Aligned room", minimum=0)


@table
class PartitionTable:
    """The partition table as sfdisk reads it."""

    label: str = key(
        "Kind of table as sfdisk names it: gpt, dos and so on.", title="Kind", pattern="^[0-9a-z_]*$", minLength=1
    )
    id: str = key(
        "Identifier of the disk; a GUID in upper case for gpt.",
        title="Identifier",
        pattern="^[0-9A-Za-z-]*$",
        default="",
    )
    first_lba: int = key(
        "First sector a partition may use, as the table says.", title="First usable sector", minimum=0, default=0
    )
    last_lba: int = key(
        "Last sector a partition may use, as the table says.", title="Last usable sector", minimum=0, default=0
    )
    length: int = key("How many entries the table can hold.", title="Entries", minimum=1, default=128)


@table(title="Disk")
class SurveyedDisk:
    """One disk."""

    path: str = key(
        "The kernel's name on the day of the survey. Never used to find the disk again.",
        pattern=r"^$|^/dev/[^\s\u0000-\u001f\u007f]+$",
        minLength=1,
    )
    serial: str = key("Serial number as the disk reports it.", title="Serial number", default="")
    model: str = key("Model as the disk reports it.", default="")
    wwn: str = key(
        "World-wide name as the disk reports it.", title="World-wide name", pattern="^[0-9A-Za-z_.:-]*$", default=""
    )
    by_id: tuple[str, ...] = key(
        "Names of the disk below /dev/disk/by-id.",
        title="Stable names",
        items=Keywords(title="Stable name", description="Whole path.", minLength=1),
        default=(),
    )
    transport: str = key("How the disk is connected: nvme, sata, usb and so on.", pattern="^[0-9a-z]*$", default="")
    rotational: bool = key("True for a disk with spinning platters.", default=False)
    removable: bool = key("True for a disk that is meant to be taken out.", default=False)
    size_bytes: int = key("Size of the disk in bytes.", title="Size", minimum=1)
    sector_size: int = key(
        "Logical sector size in bytes; all sector numbers count these.",
        title="Logical sector",
        enum=(512, 1024, 2048, 4096),
        default=512,
    )
    physical_sector_size: int = key("Physical sector size in bytes.", title="Physical sector", minimum=512, default=512)
    readable: bool = key(
        "True if the survey looked at the disk itself, so that what is not listed is not there. False, or left "
        "out: a disk without a table was not read, and nothing may be planned on it.",
        title="Looked at",
        default=False,
    )
    table: PartitionTable | None = None
    partitions: tuple[SurveyedPartition, ...] = key("Rows of the table, in the order of the table.", default=())
    free: tuple[FreeRegion, ...] = key("Free regions of at least 1 MiB, by start.", title="Free regions", default=())
    content: str = key("What covers the whole disk where there is no partition table.", NAME, default="")
    signatures: tuple[SurveyedSignature, ...] = key(
        "What lies on the disk itself, outside its partitions: what covers it, or a record at one of its ends.",
        default=(),
    )
    faults: tuple[str, ...] = key(
        "Reasons not to trust the table, one sentence each.",
        items=Keywords(title="Fault", description="One sentence.", minLength=1),
        default=(),
    )

    @property
    def unread(self) -> bool:
        """Whether nobody knows what is on the disk: nothing is listed, and nobody looked; or rows have no table."""
        listed = self.table is not None and bool(self.partitions)
        return not listed and (not self.readable or bool(self.partitions))


@table
class BootEntry:
    """One boot entry of the firmware."""

    number: str = key("Four hexadecimal digits.", pattern="^[0-9A-F]{4}$")
    label: str = key("What the firmware shows.", pattern=None)
    active: bool = key("Whether the firmware may start it by itself.", default=True)
    partition: str = key(
        "Unique GUID of the partition it points to, lower case; empty if none.",
        pattern="^$|^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$",
        default="",
    )
    loader: str = key("Path of the loader as the firmware stores it, with backslashes.", pattern=None, default="")
    path: str = key("The whole device path as efibootmgr prints it.", title="Device path", pattern=None, default="")


@table
class Firmware:
    """Facts about the firmware."""

    mode: str = key("How the live system was started.", enum=("uefi", "bios"), required=True, default="uefi")
    bits: int = key("Width of the firmware in bits.", title="Width", enum=(32, 64), default=64)
    secure_boot: str = key(
        "State of Secure Boot; setup means that keys may be changed freely.",
        title="Secure Boot",
        enum=("on", "off", "setup", "unknown"),
        default="unknown",
    )
    # variable SbatLevelRT
    sbat_level: str = key(
        "First line of the boot loader revocation level the firmware keeps.", title="Revocation level", default=""
    )
    variables_free_bytes: int | None = key(
        "Bytes left for firmware variables; left out if the kernel does not tell.",
        title="Variable room",
        minimum=0,
        default=None,
    )
    boot_current: str = key(
        "Number of the entry that started the live system.",
        title="Current entry",
        pattern="^$|^[0-9A-F]{4}$",
        default="",
    )
    boot_order: tuple[str, ...] = key(
        "Numbers of entries in the order the firmware tries them, as it stores them.",
        items=Keywords(title="Number", description="Four hexadecimal digits.", pattern="^[0-9A-F]{4}$"),
        default=(),
    )
    entries: tuple[BootEntry, ...] = key("All boot entries, by number.", title="Boot entries", default=())


@table
class Link:
    """One network link with a hardware address."""

    name: str = key("Name of the interface on the live system.", pattern=r"^[^\s/\u0000-\u001f\u007f]*$", minLength=1)
    mac: str = key(
        "Permanent hardware address, lower case, with colons.",
        title="MAC address",
        pattern="^[0-9a-f]{2}(:[0-9a-f]{2}){5}$",
    )
    kind: str = key("What the link is.", enum=("ethernet", "wifi", "other"), default="ethernet")
    driver: str = key("Kernel driver of the device.", pattern="^[0-9A-Za-z_.-]*$", default="")
    carrier: bool = key("Whether it had a carrier during the survey.", default=False)


@table(title="Machine")
class SurveyedMachine:
    """What the machine says of itself."""

    architecture: str = key(
        "Architecture of the processor.", enum=("amd64", "arm64", "i386", "other"), required=True, default="amd64"
    )
    memory_bytes: int = key("Usable memory in bytes, as the kernel reports it.", title="Memory", minimum=0, default=0)
    cpu_vendor: str = key(
        "Vendor of the processor, for its microcode; empty if another.",
        title="Processor vendor",
        enum=("", "intel", "amd"),
        default="",
    )
    vendor: str = key("Maker of the machine, as its firmware says.", default="")
    product: str = key("Product name, as its firmware says.", default="")
    # PCI Code and ID Assignment: 0104 is a RAID controller, 0106 SATA, 0108 NVMe, 0200 Ethernet, 0280 other networks
    pci: tuple[str, ...] = key(
        "Storage and network controllers on the PCI bus.",
        title="Controllers",
        items=Keywords(
            title="Controller",
            description="Class, vendor and device in hexadecimal, as in 0108 144d:a808.",
            pattern="^[0-9a-f]{4} [0-9a-f]{4}:[0-9a-f]{4}$",
        ),
        default=(),
    )


@table
class Survey:
    """What one machine is. Written by `bedplate survey`."""

    format: int = key("Version of the survey's shape.", const=FORMAT, required=True, default=FORMAT)
    taken: str = key(
        "When the capture was made, in UTC; empty if not known.",
        pattern="^$|^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z$",
        default="",
    )
    machine: SurveyedMachine = SurveyedMachine()
    firmware: Firmware = Firmware()
    disks: tuple[SurveyedDisk, ...] = key("Disks of the machine, by path.", default=())
    links: tuple[Link, ...] = key("Network links with a hardware address, by name.", default=())
    notes: tuple[str, ...] = key(
        "What could not be read, or should be known first.",
        items=Keywords(title="Note", description="One sentence.", minLength=1),
        default=(),
    )
