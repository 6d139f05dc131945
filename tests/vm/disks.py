"""Disk images: overlays, and what the host can read out of them without mounting anything."""

import hashlib
import shutil
import subprocess
from pathlib import Path
from typing import Literal, Self

from attrs import evolve, frozen

from .tools import call

MIB = 1024 * 1024
_CHUNK_BYTES = 4 * MIB


@frozen(kw_only=True)
class Disk:
    """One disk of a machine, as the firmware and the kernel are to see it."""

    path: Path
    serial: str
    """Serial number; virtio-blk passes on the first 20 characters."""
    bus: Literal["virtio", "nvme", "sata", "usb"] = "virtio"
    sector_bytes: int = 512
    """Logical and physical sector size in bytes: 512 or 4096."""
    format: Literal["qcow2", "raw"] = "qcow2"
    read_only: bool = False
    durable: bool = False
    """True: what the guest has flushed stays when the emulator is killed, and nothing else is promised. QEMU keeps the
    tables of a qcow2 file's new clusters in memory until a flush, so a kill loses every write to a cluster (64 KiB)
    that was first written since; overwrites are kept, in no order. False: flushes are ignored, which is faster."""

    def overlay(self, path: Path) -> Self:
        """A new writable image on top of this one, which is not changed any more."""
        call(["qemu-img", "create", "-q", "-f", "qcow2", "-F", self.format, "-b", self.path.resolve(), path])
        return evolve(self, path=path, format="qcow2", read_only=False)

    def copy(self, path: Path) -> Self:
        """The image as it stands, backing chain kept: the way to go on from a saved state."""
        shutil.copyfile(self.path, path)
        return evolve(self, path=path)

    def same_bytes_as(self, other: "Disk") -> bool:
        """Whether two disks, both off, hold the same bytes from first to last sector."""
        formats = ["-f", self.format, "-F", other.format]
        words = ["qemu-img", "compare", "-q", *formats, self.path, other.path]
        return subprocess.run(words, check=False).returncode == 0

    def raw_copy(self, path: Path) -> Path:
        """The whole disk as a sparse raw file, for tools that read images."""
        call(["qemu-img", "convert", "-f", self.format, "-O", "raw", self.path, path])
        return path


def blank_disk(path: Path, *, size_mib: int, serial: str, sector_bytes: int = 512) -> Disk:
    """A new disk of zeros, ``size_mib`` MiB long."""
    call(["qemu-img", "create", "-q", "-f", "qcow2", path, f"{size_mib}M"])
    return Disk(path=path, serial=serial, sector_bytes=sector_bytes)


STICK = "second-stick.raw"
STICK_SERIAL = "SALTMARSHSTICK"
_STICK_MIB = 512


def second_stick(folder: Path) -> Disk:
    """A USB stick with one empty FAT partition, as they are sold; the one in ``folder``, made on first use."""
    raw, volume = folder / STICK, folder / "stick.fat"
    if not raw.is_file():
        folder.mkdir(parents=True, exist_ok=True)
        call(["truncate", "-s", f"{_STICK_MIB - 1}M", volume])
        call(["mkfs.vfat", "-F", "32", "-n", "COPIES", volume])
        call(["truncate", "-s", f"{_STICK_MIB}M", raw])
        call(["sfdisk", "--quiet", raw], stdin="label: dos\nstart=2048, type=c\n")
        call(["dd", f"if={volume}", f"of={raw}", "bs=1M", "seek=1", "conv=notrunc,sparse", "status=none"])
        volume.unlink()
    return Disk(path=raw, serial=STICK_SERIAL, bus="usb", format="raw", durable=True)


@frozen(kw_only=True)
class Extent:
    """Where a partition lies on its disk, in bytes."""

    start_bytes: int
    size_bytes: int


def partitions(raw: Path, *, sector_bytes: int) -> dict[str, Extent]:
    """Partitions of a GPT image by partition UUID (upper case), as fdisk(8) reads them."""
    names = "Start,Sectors,UUID"
    listing = call(["fdisk", "--bytes", "-b", str(sector_bytes), "-o", names, "-l", raw])
    found: dict[str, Extent] = {}
    # the rows end where a blank line does; what follows is a remark on their order
    for line in listing.partition("Start ")[2].partition("\n\n")[0].splitlines()[1:]:
        start, sectors, uuid = line.split()
        extent = Extent(start_bytes=int(start) * sector_bytes, size_bytes=int(sectors) * sector_bytes)
        found[uuid.upper()] = extent
    return found


def sha256(raw: Path, extent: Extent | None = None) -> str:
    """SHA-256 of an extent of a raw image, or of the whole image."""
    digest = hashlib.sha256()
    place = extent or Extent(start_bytes=0, size_bytes=raw.stat().st_size)
    with raw.open("rb") as image:
        image.seek(place.start_bytes)
        left = place.size_bytes
        while left:
            chunk = image.read(min(left, _CHUNK_BYTES))
            digest.update(chunk)
            left -= len(chunk)
    return digest.hexdigest()


def partition_digests(raw: Path, *, sector_bytes: int) -> dict[str, str]:
    """SHA-256 of every partition of a GPT image by partition UUID (upper case)."""
    places = partitions(raw, sector_bytes=sector_bytes)
    return {uuid: sha256(raw, place) for uuid, place in places.items()}


def fat_files(raw: Path, extent: Extent, folder: Path) -> dict[str, str]:
    """SHA-256 of every file of a FAT volume inside a raw image, by path; ``folder`` gets the copies."""
    folder.mkdir(parents=True)
    call(["mcopy", "-s", "-n", "-i", f"{raw}@@{extent.start_bytes}", "::*", folder])
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): sha256(path) for path in files}
