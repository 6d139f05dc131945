"""The other system: a disk as a factory ships it, with a boot program that says when it was started.

Partition order, sizes, types and attributes follow the published layout of UEFI/GPT drives for that
system (vendor documentation "UEFI/GPT-based hard drive partitions": system partition first, at least
260 MiB where sectors have 4096 bytes; reserved partition 16 MiB; data; recovery tools last, type
DE94BBA4-06D1-4D40-A16A-BFD50179D6AC, attributes 0x8000000000000001). The room between data and
recovery is what shrinking the data volume in the other system leaves.
"""

import json
from pathlib import Path

from attrs import frozen

from .cache import built
from .disks import MIB, Disk, Extent, partition_digests, partitions
from .machine import SHARE_MOUNT, Hardware, Machine
from .media import LiveMedium
from .tools import call

VENDOR_LOADER = "EFI/Microsoft/Boot/bootmgfw.efi"
FALLBACK_LOADER = "EFI/BOOT/BOOTX64.EFI"
VENDOR_MARKER = "BENCH-OTHER-SYSTEM-STARTED vendor path"
FALLBACK_MARKER = "BENCH-OTHER-SYSTEM-STARTED fallback path"
BOOT_ENTRY = "Factory boot manager"
SERIAL = "SALTMARSH0001"

DISK_MIB = 16 * 1024
DISK_ID = "5A17AA12-6E1D-4F00-8000-0000000000D1"


@frozen(kw_only=True)
class FactoryPartition:
    """One row of the factory's table; sizes and places in MiB."""

    title: str
    type: str
    uuid: str
    size_mib: int
    first_mib: int | None = None
    attributes: str = ""


ESP = FactoryPartition(
    title="EFI system partition",
    type="C12A7328-F81F-11D2-BA4B-00A0C93EC93B",
    uuid="5A17AA12-6E1D-4F00-8000-000000000001",
    size_mib=260,
    attributes="GUID:63",
)
RESERVED = FactoryPartition(
    title="Microsoft reserved partition",
    type="E3C9E316-0B5C-4DB8-817D-F92DF00215AE",
    uuid="5A17AA12-6E1D-4F00-8000-000000000002",
    size_mib=16,
    attributes="GUID:63",
)
DATA = FactoryPartition(
    title="Basic data partition",
    type="EBD0A0A2-B9E5-4433-87C0-68B6B72699C7",
    uuid="5A17AA12-6E1D-4F00-8000-000000000003",
    size_mib=2048,
)
RECOVERY = FactoryPartition(
    title="Recovery tools",
    type="DE94BBA4-06D1-4D40-A16A-BFD50179D6AC",
    uuid="5A17AA12-6E1D-4F00-8000-000000000004",
    size_mib=600,
    first_mib=DISK_MIB - 601,
    attributes="RequiredPartition GUID:63",
)
TABLE = (ESP, RESERVED, DATA, RECOVERY)

# Files of the data volume, by path and size in bytes; names with spaces and beyond ASCII on purpose.
DATA_FILES = {
    "Users/Field/Documents/tide tables 2024.csv": 48_000,
    "Users/Field/Documents/Vögel am Priel.txt": 1_200,
    "Users/Field/Pictures/limpet bed.raw": 9_000_000,
    "ProgramData/station/readings.bin": 30_000_000,
    "pagefile.sys": 50_000_000,
}


@frozen(kw_only=True)
class FactoryMachine:
    """A saved machine with the other system on it: a disk, and the firmware's entry for it."""

    folder: Path
    disk: Disk

    def digests(self) -> dict[str, str]:
        """SHA-256 of every partition as it left the factory, by partition UUID (upper case)."""
        known: dict[str, str] = json.loads((self.folder / "digests.json").read_text())
        return known

    def unpack(self, folder: Path, hardware: Hardware | None = None) -> Machine:
        """A machine fresh from the factory, with this one's disk as an unchanged backing image."""
        saved = Machine(folder=self.folder, disks=[self.disk], hardware=hardware or Hardware())
        return saved.fork(folder)


def factory_machine(medium: LiveMedium, *, sector_bytes: int = 512) -> FactoryMachine:
    """The factory's machine with 512 or 4096 byte sectors, built on first use.

    The disk is laid out on the host; its data volume is filled, and the firmware's boot entry made,
    by one boot of the live medium.
    """
    recipe = [Path(__file__).read_text(), str(sector_bytes), str(medium.kernel)]
    folder = built(f"factory-{sector_bytes}", recipe, lambda place: _build(place, medium, sector_bytes))
    disk = Disk(path=folder / "factory.raw", serial=SERIAL, format="raw", sector_bytes=sector_bytes)
    return FactoryMachine(folder=folder, disk=disk)


def _build(folder: Path, medium: LiveMedium, sector_bytes: int) -> None:
    raw = folder / "factory.raw"
    call(["truncate", "-s", f"{DISK_MIB}M", raw])
    _write_table(raw, sector_bytes)
    places = partitions(raw, sector_bytes=sector_bytes)
    _fill_esp(raw, places[ESP.uuid], sector_bytes)
    for row, label in ((DATA, "Factory"), (RECOVERY, "Recovery")):
        _fill_ntfs(raw, places[row.uuid], sector_bytes, label)
    disk = Disk(path=raw, serial=SERIAL, format="raw", sector_bytes=sector_bytes)
    _first_start(Machine(folder=folder, disks=[disk]), medium)
    digests = partition_digests(raw, sector_bytes=sector_bytes)
    (folder / "digests.json").write_text(json.dumps(digests, indent=1))


def _write_table(raw: Path, sector_bytes: int) -> None:
    rows = [_table_row(row) for row in TABLE]
    script = raw.with_suffix(".table")
    script.write_text("\n".join(["label: gpt", f"label-id: {DISK_ID}", "", *rows]) + "\n")
    # fdisk(8) because sfdisk(8) before util-linux 2.40 can't be told the sector size of an image
    call(["fdisk", "-b", str(sector_bytes), raw], stdin=f"g\nI\n{script}\nw\n")
    script.unlink()


def _table_row(row: FactoryPartition) -> str:
    start = [f"start={row.first_mib}MiB"] if row.first_mib else []
    attributes = [f'attrs="{row.attributes}"'] if row.attributes else []
    words = [f"size={row.size_mib}MiB", f"type={row.type}", f"uuid={row.uuid}", f'name="{row.title}"']
    return ", ".join([*start, *words, *attributes])


def _boot_program(path: Path, marker: str) -> None:
    """A boot program that prints ``marker`` on the firmware's console and switches the machine off."""
    script = path.with_suffix(".cfg")
    script.write_text(f"echo\necho '{marker}'\nhalt\n")
    call(["grub-mkimage", "-O", "x86_64-efi", "-p", "/", "-c", script, "-o", path, "echo", "halt"])


def _fill_esp(raw: Path, place: Extent, sector_bytes: int) -> None:
    image = raw.with_suffix(".esp")
    call(["truncate", "-s", str(place.size_bytes), image])
    call(["mkfs.vfat", "-F", "32", "-S", str(sector_bytes), "-n", "SYSTEM", image])
    call(["mmd", "-i", image, "::EFI", "::EFI/Microsoft", "::EFI/Microsoft/Boot", "::EFI/BOOT"])
    for path, marker in ((VENDOR_LOADER, VENDOR_MARKER), (FALLBACK_LOADER, FALLBACK_MARKER)):
        program = raw.with_suffix(".efi")
        _boot_program(program, marker)
        call(["mcopy", "-i", image, program, f"::{path}"])
        program.unlink()
        program.with_suffix(".cfg").unlink()
    _place(image, raw, place)


def _fill_ntfs(raw: Path, place: Extent, sector_bytes: int, label: str) -> None:
    image = raw.with_suffix(".ntfs")
    call(["truncate", "-s", str(place.size_bytes), image])
    first = place.start_bytes // sector_bytes
    geometry = ["-s", str(sector_bytes), "-p", str(first), "-H", "255", "-S", "63"]
    call(["mkntfs", "-F", "-Q", "-q", "-L", label, *geometry, image])
    _place(image, raw, place)


def _place(image: Path, raw: Path, place: Extent) -> None:
    """Move a file system image to its place on the disk, holes kept."""
    where = f"seek={place.start_bytes // MIB}"
    call(["dd", f"if={image}", f"of={raw}", "bs=1M", where, "conv=notrunc,sparse", "status=none"])
    image.unlink()


def _first_start(machine: Machine, medium: LiveMedium) -> None:
    script = machine.share / "first-start.sh"
    script.write_text(_first_start_script())
    console = machine.boot_live(medium)
    try:
        machine.mount_share(console)
        console.check(f"sh {SHARE_MOUNT}/first-start.sh", 300)
        machine.power_off(console)
    finally:
        machine.off()
    script.unlink()


def _first_start_script() -> str:
    disk = f"/dev/disk/by-id/virtio-{SERIAL}"
    data = f"/dev/disk/by-partuuid/{DATA.uuid.lower()}"
    files = [
        f"mkdir -p '/mnt/{Path(name).parent}'\nhead -c {size} /dev/urandom >'/mnt/{name}'\n"
        for name, size in DATA_FILES.items()
    ]
    loader = "\\\\" + VENDOR_LOADER.replace("/", "\\\\")
    entry = f"efibootmgr -q -c -d {disk} -p 1 -L '{BOOT_ENTRY}' -l \"{loader}\"\n"
    mounted = f"ntfs-3g {data} /mnt\n{''.join(files)}umount /mnt\n"
    return f"set -eu\nexport LC_ALL=C.UTF-8\n{mounted}{entry}sync\n"
