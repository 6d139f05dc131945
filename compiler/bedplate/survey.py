"""The survey: what one machine is, as frozen types.

Made by `bedplate.surveying.capture` from raw tool output, or read from TOML. All sector numbers count logical sectors
of `sector_size` bytes on that disk.
"""

from __future__ import annotations

from attrs import field, frozen

FORMAT = 1
"""Version of the survey's shape."""


@frozen(kw_only=True)
class SurveyedFileSystem:
    """What blkid and the file-system tools say about the inside of a partition. Sizes in bytes, None if not known."""

    type: str
    version: str = ""
    label: str = ""
    uuid: str = ""
    used_bytes: int | None = None
    free_bytes: int | None = None
    min_bytes: int | None = None
    """The smallest size the file system's own tool would shrink it to, in bytes."""
    dirty: bool | None = None
    """True if the volume is hibernated or was not shut down cleanly, where a tool can tell."""
    unclean: str = ""
    """Why it is dirty, in words that follow `it`; empty if it is not, or if no tool told why."""
    member: str = ""
    """Identity of this one member, where `uuid` is that of the whole array, pool or file system (blkid's UUID_SUB)."""
    group: str = ""
    """Name of the volume group whose physical volume this is."""
    group_uuid: str = ""
    """Identity of that group."""
    devices: int | None = None
    """How many devices the file system has, where it can have several."""


@frozen(kw_only=True)
class SurveyedSignature:
    """One signature on the disk itself, outside its partitions, as libblkid names it. `offset` in bytes."""

    type: str
    offset: int | None = None
    uuid: str = ""
    label: str = ""
    member: str = ""
    """As in `SurveyedFileSystem`, like the next two."""
    group: str = ""
    group_uuid: str = ""


@frozen(kw_only=True)
class SurveyedPartition:
    """One row of the partition table. `start` and `size` in sectors; GUIDs in upper case as sfdisk prints them."""

    number: int
    start: int
    size: int
    type: str
    uuid: str = ""
    """Empty on a table whose rows have no identity of their own."""
    name: str = ""
    attributes: str = ""
    filesystem: SurveyedFileSystem | None = None
    mounted_at: tuple[str, ...] = ()
    """Where it was mounted during the survey; `[SWAP]` for swap in use."""
    holders: tuple[str, ...] = ()
    """Devices built on top of it that were active during the survey (mapper, array, volume names)."""
    files: tuple[str, ...] = ()
    """For an EFI system partition: paths of the loaders found on it, `/EFI/...`, where it could be read."""

    @property
    def end(self) -> int:
        """The last sector, inclusive."""
        return self.start + self.size - 1


@frozen(kw_only=True)
class FreeRegion:
    """A run of sectors that no partition covers, both ends inclusive, inside the table's usable sectors."""

    start: int
    end: int
    aligned_mib: int
    """Whole MiB left when both ends are aligned to 1 MiB."""


@frozen(kw_only=True)
class PartitionTable:
    """The partition table as sfdisk reads it. LBAs in sectors, both inclusive."""

    label: str
    id: str = ""
    first_lba: int = 0
    last_lba: int = 0
    length: int = 128
    """How many entries the table can hold."""


@frozen(kw_only=True)
class SurveyedDisk:
    """One disk. `size_bytes` in bytes, `sector_size` and `physical_sector_size` in bytes."""

    path: str
    """The kernel's name on the day of the survey; never used to find the disk again."""
    serial: str = ""
    model: str = ""
    wwn: str = ""
    by_id: tuple[str, ...] = ()
    transport: str = ""
    rotational: bool = False
    removable: bool = False
    size_bytes: int
    sector_size: int = 512
    physical_sector_size: int = 512
    readable: bool = False
    """True if the survey looked at the disk itself: what is not listed is not there. False also where nobody says."""
    table: PartitionTable | None = None
    partitions: tuple[SurveyedPartition, ...] = ()
    free: tuple[FreeRegion, ...] = ()
    """Free regions of at least 1 MiB, by start."""
    content: str = ""
    """What covers the whole disk where there is no partition table (`ext4`, `crypto_LUKS`, `iso9660`, ...)."""
    signatures: tuple[SurveyedSignature, ...] = ()
    """Everything that lies on the disk itself beside a table: what covers it, or a record at one of its ends."""
    faults: tuple[str, ...] = ()
    """Sentences about a table that cannot be trusted (backup header misplaced, hybrid MBR, ...), or was not read."""

    @property
    def unread(self) -> bool:
        """Whether nobody knows what is on the disk: nothing is listed, and nobody looked; or rows have no table."""
        listed = self.table is not None and bool(self.partitions)
        return not listed and (not self.readable or bool(self.partitions))


@frozen(kw_only=True)
class BootEntry:
    """One firmware boot entry. `number` is four hex digits; `partition` the GUID in its HD() path, lower case."""

    number: str
    label: str
    active: bool = True
    partition: str = ""
    loader: str = ""
    """The File() path with backslashes, as the firmware stores it."""
    path: str = ""
    """The whole device path as efibootmgr prints it."""


@frozen(kw_only=True)
class Firmware:
    """Firmware facts. `mode` is `uefi` or `bios`; `bits` 64 or 32."""

    mode: str = "uefi"
    bits: int = 64
    secure_boot: str = "unknown"
    """`on`, `off`, `setup` (keys may be changed freely) or `unknown`."""
    sbat_level: str = ""
    """Revocation level of boot loaders (variable SbatLevelRT), its first line, where the firmware keeps one."""
    variables_free_bytes: int | None = None
    """Room left for firmware variables, where the kernel tells."""
    boot_current: str = ""
    boot_order: tuple[str, ...] = ()
    entries: tuple[BootEntry, ...] = ()


@frozen(kw_only=True)
class Link:
    """One network link. `mac` in lower case with colons; `kind` is `ethernet`, `wifi` or `other`."""

    name: str
    mac: str
    kind: str = "ethernet"
    driver: str = ""
    carrier: bool = False


@frozen(kw_only=True)
class SurveyedMachine:
    """What the machine says of itself. `memory_bytes` is the usable memory the kernel reports."""

    architecture: str = "amd64"
    memory_bytes: int = 0
    cpu_vendor: str = ""
    """`intel`, `amd` or empty."""
    vendor: str = ""
    product: str = ""
    pci: tuple[str, ...] = ()
    """Storage and network controllers, `class vendor:device` in hexadecimal: `0108 144d:a808`. PCI code and ID
    assignment: 0104 is a RAID controller, 0106 SATA, 0108 NVMe, 0200 Ethernet, 0280 other networks."""


@frozen(kw_only=True)
class Survey:
    """What one machine is. Written by `bedplate survey`; its shape is `survey.json` of the schema package."""

    format: int = FORMAT
    taken: str = ""
    """When the capture was made, ISO 8601, from the capture itself; empty if not known."""
    machine: SurveyedMachine = field(factory=SurveyedMachine)
    firmware: Firmware = field(factory=Firmware)
    disks: tuple[SurveyedDisk, ...] = ()
    links: tuple[Link, ...] = ()
    notes: tuple[str, ...] = ()
    """What could not be read, or should be known before the survey is trusted; one sentence each."""
