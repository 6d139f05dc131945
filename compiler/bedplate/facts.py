"""Facts: typed answers that one step gives and others ask for by type (`context.fact(Layout)`).

The step that owns the answer is found by the registry; steps never know one another. Sectors are logical sectors
of the disk, sizes in bytes where the name says so.
"""

from __future__ import annotations

from collections.abc import Mapping

from attrs import field, frozen

from bedplate.actions import Argv
from bedplate.faults import one_of, reject
from bedplate.survey import PartitionTable


@frozen(kw_only=True)
class Subvolume:
    """A btrfs subvolume: its name at the top of the volume, and where it is mounted."""

    name: str
    mount: str
    options: tuple[str, ...] = ()


@frozen(kw_only=True)
class LaidPartition:
    """One partition as it will be: kept (`new` false) or new. GUIDs in upper case, UUIDs as blkid prints."""

    name: str
    """Name in the spec, unique."""
    new: bool
    number: int
    start: int
    size: int
    """Start and size in sectors, after a planned shrink."""
    type: str
    uuid: str
    """The partition's unique GUID, upper case."""
    gpt_name: str = ""
    role: str = ""
    """`esp`, `xbootldr`, `root`, `home`, `swap`, `data`, or for kept ones `system`, `reserved`, `recovery`, `other`."""
    filesystem: str = ""
    """`ext4`, `xfs`, `btrfs`, `vfat`, `swap`, or what the survey found on a kept one."""
    fs_uuid: str = ""
    fs_label: str = ""
    mount: str = ""
    """Where it is mounted, during the installation too."""
    later_mount: str = ""
    """Where a kept partition is mounted from the first boot on; the installation leaves it alone."""
    options: tuple[str, ...] = ()
    subvolumes: tuple[Subvolume, ...] = ()
    mapper: str = ""
    """Name below /dev/mapper if the file system lies in a LUKS container; empty if not encrypted."""
    luks_uuid: str = ""
    shrunk_from: int = 0
    """For a kept partition that is to be shrunk: its size in sectors on the day of the survey."""

    @property
    def end(self) -> int:
        """The last sector, inclusive."""
        return self.start + self.size - 1

    @property
    def mark(self) -> str:
        """The name of its row until all that belongs on it is made and proved. A name in a GPT holds 36 characters
        (UEFI specification, 5.3.3)."""
        return f"unfinished-{self.gpt_name}"[:36]

    @property
    def node(self) -> str:
        """The device by partition UUID, stable across boots: `/dev/disk/by-partuuid/...`."""
        return f"/dev/disk/by-partuuid/{self.uuid.lower()}"

    @property
    def content_node(self) -> str:
        """The device that holds the file system: the mapping of an encrypted partition, else `node`."""
        return f"/dev/mapper/{self.mapper}" if self.mapper else self.node


@frozen(kw_only=True)
class Layout:
    """The disk as it will be. Given by the step that owns partitions."""

    disk_words: str
    """The disk in words for people: model, size, serial."""
    serial: str
    by_id: str = ""
    model: str = ""
    size_bytes: int
    sector_size: int
    table_id: str
    """The disk's GUID, upper case: the surveyed one where the table is kept."""
    whole_disk: bool
    """True: the table is made anew and everything on the disk is lost."""
    first_lba: int
    last_lba: int
    partitions: tuple[LaidPartition, ...]
    """Kept and new, by start sector."""
    before: tuple[LaidPartition, ...] = ()
    """What the survey found, by start sector; lost ones included when the whole disk is taken."""
    before_table: PartitionTable | None = None
    """The partition table the survey found, or None if there was none."""
    before_contents: tuple[str, ...] = ()
    """What the survey found on the disk itself, outside of partitions: `TYPE UUID` each."""
    removable: bool = False
    """Whether the spec wants a disk that can be unplugged."""
    swap_file: str = ""
    """Path of a swap file in the target; empty if none."""
    hibernate: bool = False
    resume: tuple[str, ...] = ()
    """Kernel parameters a resume from hibernation needs."""
    other_systems: tuple[str, ...] = ()
    """Spec names of kept partitions that hold another operating system."""
    other_encryption: str = ""
    """Volume encryption of the other system: `none`, `suspended`, `on`, `unknown`, or empty if not said."""
    other_start_by: str = ""
    """How the other system is to be started: `firmware-menu`, `chain-load`, or empty if not said."""

    def mounted(self, point: str) -> LaidPartition | None:
        """The partition mounted at `point`, or None."""
        return next((part for part in self.partitions if part.mount == point), None)

    def role(self, role: str) -> LaidPartition | None:
        """The first partition in that role that the new system uses, or None."""
        return next((part for part in self.partitions if part.role == role and (part.mount or part.new)), None)

    @property
    def esp(self) -> LaidPartition | None:
        """The EFI system partition the new system mounts."""
        return next((part for part in self.partitions if part.role == "esp" and part.mount), None)

    def covering(self, path: str) -> LaidPartition | None:
        """The partition whose mount point holds `path`."""
        best: LaidPartition | None = None
        for part in self.partitions:
            inside = part.mount == "/" or path == part.mount or path.startswith(part.mount + "/")
            if part.mount and inside and (best is None or len(part.mount) > len(best.mount)):
                best = part
        return best


def copies_folder(machine: str) -> str:
    """Where the copies of the state before lie by hand: on the second stick, mounted at `/mnt/second`."""
    return f"/mnt/second/bedplate-{machine}"


@frozen(kw_only=True)
class Family:
    """A package family as seen by other steps. Given by the step that owns the base system."""

    name: str
    """The word in the spec: for people only. What sets a family apart is asked with `Context.of_family`."""
    architecture: str
    """`amd64` or `arm64`."""
    packages: Mapping[str, tuple[str, ...]] = field(hash=False)
    """From a generic need (`loader-grub`, `time-sync`, `sudo`, ...) to package names; missing: the family has none."""
    rebuild_initramfs: Argv
    """Command in the target that builds the initramfs of every installed kernel."""
    writes_esp: Mapping[str, str] = field(factory=dict, hash=False)
    """Packages whose installation writes on the EFI system partition by itself, and where: from name to folder."""
    from_archive: bool = False
    """True: the base comes from a local archive and nothing is fetched."""
    source: str = ""
    """Address of the package source; empty: what the live medium is configured to use."""

    def tokens(self, *needs: str) -> tuple[str, ...]:
        """`package:NAME` tokens for generic needs. Raises Rejected for those the family names no package for."""
        lacking = [need for need in needs if need not in self.packages]
        if lacking:
            message = f"the package family {self.name} names no package for {one_of(lacking)}"
            raise reject("family-lacks-package", message)
        names = [name for need in needs for name in self.packages[need]]
        return tuple(f"package:{name}" for name in dict.fromkeys(names))


@frozen(kw_only=True)
class Person:
    """A user account of the target."""

    name: str
    groups: tuple[str, ...] = ()
    administrator: bool = False
    home: str = ""
    shell: str = "/bin/bash"


@frozen(kw_only=True)
class People:
    """Who can log in. Given by the step that owns users."""

    root: str
    """`locked`, `asked` or `hashed`."""
    persons: tuple[Person, ...] = ()


@frozen(kw_only=True)
class HostName:
    """The machine's name on the network. Given by the step that owns the network."""

    host: str
    domain: str = ""


@frozen(kw_only=True)
class KernelParameters:
    """Kernel parameters beyond root=, in order. Given by the step that owns the boot loader."""

    words: tuple[str, ...]
