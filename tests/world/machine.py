"""Machines to do the job on: disks as sparse images in memory, attached as loop devices; firmware variables as files.

A template is made once, with the real tools, and copied for each sequence: a copy keeps its holes. Several disks: the
one the new system goes to (EFI system partition, a factory system, a kept Linux, a container, a volume group's member),
another one with files and a member of an array, and the second stick for the copies.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from attrs import evolve, field, frozen, mutable

from world import signatures

HERE = Path(__file__).parent
MIB = 1 << 20
SECTOR = 512
LINUX, SWAP = "0FC63DAF-8483-4772-8E79-3D69D8477DE4", "0657FD6D-A4AB-43C4-84E5-0933C84B4F4F"
ESP, RESERVED = "C12A7328-F81F-11D2-BA4B-00A0C93EC93B", "E3C9E316-0B5C-4DB8-817D-F92DF00215AE"
DATA, RECOVERY = "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7", "DE94BBA4-06D1-4D40-A16A-BFD50179D6AC"
LVM, RAID = "E6D6D379-F507-44C2-A23C-238F2A3DF928", "A19D880F-05FC-4D3B-A006-743F0F84911E"
"""Types of the Discoverable Partitions Specification and of the Microsoft reserved, data and recovery partitions."""
PV_UUID = "kelp00-0000-0000-0000-0000-0000-000001"


@frozen(kw_only=True)
class Part:
    """A partition of a template, in MiB: what lies in it, and files of known content."""

    name: str
    start: int
    size: int
    type: str
    holds: str
    """ext4, ntfs, vfat, luks, lvm, raid, swap, or empty."""
    guid: str

    @property
    def uuid(self) -> str:
        """UUID of its file system, where the tool lets it be chosen."""
        return self.guid[:-4].lower() + "f5" + self.guid[-2:].lower()


@frozen(kw_only=True)
class Disk:
    """A disk of a template."""

    name: str
    mib: int
    guid: str
    parts: tuple[Part, ...]
    facts: Mapping[str, str]


def _guid(digit: str, number: int) -> str:
    return f"{digit * 8}-2222-4333-8444-5555555500{number:02X}"


def _part(disk: str, number: int, name: str, start: int, size: int, kind: str, holds: str) -> Part:
    return Part(name=name, start=start, size=size, type=kind, holds=holds, guid=_guid(disk, number))


MAIN = Disk(
    name="main",
    mib=24 * 1024,
    guid=_guid("A", 0),
    parts=(
        _part("A", 1, "esp", 1, 100, ESP, "vfat"),
        _part("A", 2, "reserved", 101, 16, RESERVED, ""),
        _part("A", 3, "factory", 117, 1024, DATA, "ntfs"),
        _part("A", 4, "heron", 1141, 512, LINUX, "ext4"),
        _part("A", 5, "heron-swap", 1653, 64, SWAP, "swap"),
        _part("A", 6, "vault", 1717, 64, LINUX, "luks"),
        _part("A", 7, "group", 1781, 64, LVM, "lvm"),
        _part("A", 8, "recovery", 24 * 1024 - 130, 128, RECOVERY, "ntfs"),
    ),
    facts={"SERIAL": "SM-NVME-0217", "MODEL": "SaltmarshNVMe", "TRAN": "nvme"},
)
OTHER = Disk(
    name="other",
    mib=4096,
    guid=_guid("B", 0),
    parts=(
        _part("B", 1, "archive", 1, 512, LINUX, "ext4"),
        _part("B", 2, "mirror", 513, 64, RAID, "raid"),
        _part("B", 3, "samples", 577, 256, DATA, "ntfs"),
    ),
    facts={"SERIAL": "SM-SATA-0302", "MODEL": "SaltmarshSATA", "TRAN": "sata", "ROTA": "1"},
)
SPARE = Disk(
    name="spare",
    mib=6144,
    guid=_guid("D", 0),
    parts=(_part("D", 1, "retired", 1, 256, LINUX, "ext4"), _part("D", 2, "old-swap", 257, 64, SWAP, "swap")),
    facts={"SERIAL": "SM-SATA-0404", "MODEL": "SaltmarshOld", "TRAN": "sata"},
)
STICK = Disk(
    name="stick",
    mib=512,
    guid=_guid("C", 0),
    parts=(_part("C", 1, "copies", 1, 500, LINUX, "ext4"),),
    facts={"SERIAL": "SM-USB-0009", "MODEL": "SaltmarshStick", "TRAN": "usb", "RM": "1", "HOTPLUG": "1"},
)
EMPTY_MAIN = evolve(MAIN, parts=())


def call(*argv: object, text: str | None = None, **more: str) -> str:
    """A command that must succeed; what it printed."""
    words = [str(word) for word in argv]
    ran = subprocess.run(words, input=text, capture_output=True, text=True, env=os.environ | more, check=False)
    if ran.returncode != 0:
        raise RuntimeError(f"{words}: {ran.returncode}: {ran.stdout}{ran.stderr}")
    return ran.stdout


@contextmanager
def attached(image: Path) -> Iterator[str]:
    """The image as a loop device with its partitions."""
    node = call("losetup", "--find", "--show", image).strip()
    try:
        subprocess.run(["partx", "--add", node], capture_output=True, check=False)
        yield node
    finally:
        detach(node)


def detach(node: str) -> None:
    """Take a loop device away, its partitions first."""
    subprocess.run(["partx", "--delete", node], capture_output=True, check=False)
    subprocess.run(["losetup", "--detach", node], capture_output=True, check=False)


def copy(source: Path, target: Path) -> None:
    """A copy that keeps its holes."""
    call("cp", "--sparse=always", source, target)


# --- the template ----------------------------------------------------------------------------------------------------


def make_template(folder: Path) -> None:
    """All images and the firmware's variables of a machine, new."""
    folder.mkdir(parents=True)
    for disk in DISKS:
        image = folder / f"{disk.name}.img"
        with image.open("wb") as file:
            file.truncate(disk.mib * MIB)
        rows = [
            f"start={part.start * 2048}, size={part.size * 2048}, type={part.type}, uuid={part.guid}, "
            f'name="{part.name}"'
            for part in disk.parts
        ]
        call("sfdisk", "--quiet", image, text="\n".join(["label: gpt", f"label-id: {disk.guid}", *rows, ""]))
        with attached(image) as node:
            for number, part in enumerate(disk.parts, 1):
                _fill(part, f"{node}p{number}", folder)
    variables = folder / "firmware" / "efivars"
    variables.mkdir(parents=True)
    (folder / "firmware" / "fw_platform_size").write_text("64\n")
    guid = MAIN.parts[0].guid
    signatures.put_entry(variables, 0, signatures.load_option("Factory", guid, r"\EFI\factory\start.efi"))
    signatures.put_entry(variables, 3, signatures.load_option("heron", guid, r"\EFI\heron\grubx64.efi"))
    signatures.put_order(variables, 0, 3)


def _files(name: str) -> dict[str, bytes]:
    """Files of known content, some with several clusters."""
    return {f"{name}-{number}.dat": f"{name} {number}\n".encode() * (1 + number * 4000) for number in range(3)}


def _fill(part: Part, node: str, folder: Path) -> None:
    with tempfile.TemporaryDirectory(dir=folder) as place:
        for name, content in _files(part.name).items():
            (Path(place) / name).write_bytes(content)
        match part.holds:
            case "ext4":
                call("mkfs.ext4", "-q", "-F", "-U", part.uuid, "-L", part.name, "-d", place, node)
            case "ntfs":
                call("mkntfs", "-Q", "-F", "-L", part.name, "-p", part.start * 2048, "-H", 255, "-S", 63, node)
                serial = uuid.uuid5(uuid.NAMESPACE_OID, part.guid).bytes[:8]  # mkntfs takes one by the second
                for sector in (0, part.size * 2048 - 1):
                    write_at(node, sector * SECTOR + 0x48, serial)
                for name in _files(part.name):
                    call("ntfscp", node, f"{place}/{name}", name)
            case "vfat":
                call("mkfs.fat", "-F", "32", "-i", "0217ABCD", "-n", "SYSTEM", node)
                for folder_name in ("EFI", "EFI/factory", "EFI/heron", "EFI/BOOT"):
                    call("mmd", "-i", node, f"::{folder_name}")
                for name in ("factory/start.efi", "heron/grubx64.efi", "BOOT/BOOTX64.EFI", "factory/store"):
                    (Path(place) / "loader").write_bytes(b"MZ" + name.encode() * 5000)
                    call("mcopy", "-i", node, f"{place}/loader", f"::EFI/{name}")
            case "luks":
                weak = ("--pbkdf", "pbkdf2", "--pbkdf-force-iterations", "1000", "--key-file", "-")
                call("cryptsetup", "luksFormat", "-q", "--type", "luks2", "--uuid", part.uuid, *weak, node, text="salt")
            case "lvm":
                alone = f'devices {{ filter=["a|^{node}$|","r|.*|"] use_devicesfile=0 }}'
                call("pvcreate", "-qq", "-ff", "-y", "--config", alone, "--norestorefile", "--uuid", PV_UUID, node)
            case "swap":
                call("mkswap", "-U", part.uuid, "-L", part.name, node)
            case "raid":
                write_at(node, 4096, signatures.raid_record(part.size * 2048 - 2048, 8, part.name))
                write_at(node, 2 * MIB, b"".join(_files(part.name).values()))


def write_at(path: str | Path, offset: int, content: bytes) -> None:
    """Bytes into a device or an image."""
    with open(path, "r+b", buffering=0) as file:
        file.seek(offset)
        file.write(content)
        os.fsync(file.fileno())


@contextmanager
def room() -> Iterator[Path]:
    """A folder in memory for templates and machines; in the end nothing of it is attached, whoever was killed."""
    folder = Path(tempfile.mkdtemp(prefix=f"bedplate-world-{os.getpid()}-", dir="/dev/shm"))
    try:
        yield folder
    finally:
        for line in call("losetup", "--noheadings", "--raw", "--output", "NAME,BACK-FILE").splitlines():
            node, _, image = line.partition(" ")
            if image.startswith(f"{folder}/"):
                swap_off([node])
                detach(node)
        shutil.rmtree(folder, ignore_errors=True)


def swap_off(disks: Iterable[str]) -> None:
    """No partition of these is used for swap; its path in /proc/swaps has ended with the name space it came from."""
    for line in Path("/proc/swaps").read_text().splitlines()[1:]:
        node = f"/dev/{line.split()[0].rpartition('/')[2]}"
        if node.rpartition("p")[0] in disks:
            subprocess.run(["swapoff", node], capture_output=True, check=False)


# --- a machine that stands on the bench ------------------------------------------------------------------------------


@mutable
class World:
    """One machine: `disks` maps a name to the node it is plugged in as; what is pulled out is only an image."""

    folder: Path
    disks: dict[str, str] = field(factory=dict)
    facts: dict[str, dict[str, str]] = field(factory=dict)

    def image(self, disk: str) -> Path:
        """The image behind a disk."""
        return self.folder / f"{disk}.img"

    def plug(self, disk: str) -> None:
        """Attach a disk."""
        self.disks[disk] = call("losetup", "--find", "--show", self.image(disk)).strip()
        self.settle()

    def pull(self, disk: str) -> None:
        """Detach a disk."""
        detach(self.disks.pop(disk))
        self.settle()

    def settle(self) -> None:
        """Facts, partitions and links of the disks that are plugged in."""
        shutil.rmtree(self.folder / "facts", ignore_errors=True)
        (self.folder / "facts").mkdir()
        for disk, node in self.disks.items():
            lines = [f"{key}='{value}'\n" for key, value in self.facts[disk].items()]
            (self.folder / "facts" / node.removeprefix("/dev/")).write_text("".join(lines))
        (self.folder / "nodes").write_text("".join(f"{node}\n" for node in self.disks.values()))
        self.shell(f"{HERE}/tools/udevadm settle")

    def shell(self, text: str) -> subprocess.CompletedProcess[str]:
        """Shell lines with the world's tools in front."""
        return subprocess.run(["dash", "-c", text], capture_output=True, text=True, env=self.environment(), check=False)

    def environment(self) -> dict[str, str]:
        """Surroundings of every command."""
        path = f"{HERE}/tools:/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
        return {"PATH": path, "WORLD": str(self.folder), "TOOLS": f"{HERE}/tools", "LC_ALL": "C"}

    def restart(self) -> None:
        """What a restart of the machine ends: swap; mounts have ended with their name space."""
        swap_off(list(self.disks.values()))

    def rows(self, disk: str) -> list[str]:
        """Rows of a disk's table, as sfdisk dumps them."""
        ran = subprocess.run(["sfdisk", "--dump", self.image(disk)], capture_output=True, text=True, check=False)
        return [line.split(" : ", 1)[1] for line in ran.stdout.splitlines() if " : start=" in line]

    def close(self) -> None:
        """Nothing stays attached."""
        self.restart()
        for node in self.disks.values():
            detach(node)
        self.disks.clear()


DISKS: Sequence[Disk] = (MAIN, OTHER, SPARE, STICK)


@contextmanager
def machine(template: Path) -> Iterator[World]:
    """A machine like the template, plugged in; gone afterwards."""
    folder = Path(tempfile.mkdtemp(prefix="machine-", dir=template.parent))
    world = World(folder)
    try:
        for item in template.iterdir():
            if item.suffix == ".img":
                copy(item, folder / item.name)
            elif item.is_dir():
                shutil.copytree(item, folder / item.name)
            else:
                shutil.copy(item, folder / item.name)
        for disk in DISKS:
            world.facts[disk.name] = dict(disk.facts)
            world.disks[disk.name] = call("losetup", "--find", "--show", world.image(disk.name)).strip()
        world.settle()
        yield world
    finally:
        world.close()
        with suppress(OSError):
            shutil.rmtree(folder)
