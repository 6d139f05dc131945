"""What a machine that is off holds: partition table, EFI system partition, boot entries and files, as text lines.

Enters: a disk. Leaves: a `State`, and the differences of two.
"""

import hashlib
import os
import re
import shutil
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from attrs import frozen

from .console import Console
from .disks import Disk, fat_files, partitions
from .factory import ESP
from .tools import call

NOT_COMPARED = (
    "var/log/**",
    "tmp/**",
    "var/tmp/**",
    "run/**",
    "lost+found",
    "home/lost+found",
    "var/lib/bedplate/install.log",
    "var/lib/systemd/random-seed",
    "etc/passwd-",
    "etc/group-",
    "etc/shadow-",
    "etc/gshadow-",
    "etc/subuid-",
    "etc/subgid-",
    "var/cache/ldconfig/aux-cache",
)
"""Logs, places for temporary files, seeds, and the copies that the account tools keep of the state before."""

OF_ITS_OWN = ("etc/machine-id", "etc/ssh/ssh_host_*", "boot/initrd.img-*", "etc/shadow", "var/lib/bedplate/boot/Boot*")
"""Files that two good installations do not have in common: drawn by lot, salted, or dated. Their presence, owner and
mode are compared, not their content; of the shadow file, everything but the hashes is compared as well."""


@frozen(kw_only=True)
class State:
    """What is compared of a machine that is off: each part as text lines, so that a difference can be shown."""

    table: tuple[str, ...]
    esp: tuple[str, ...]
    boot: tuple[str, ...]
    """Boot entries in boot order, each as the hexadecimal content of its variable."""
    tree: tuple[str, ...] = ()

    def differences(self, other: "State") -> list[str]:
        """What one has and the other has not, at most some lines of each part."""
        found: list[str] = []
        for part in ("table", "esp", "boot", "tree"):
            mine, others = getattr(self, part), getattr(other, part)
            if part == "boot" and mine != others:
                found.append(f"boot: {list(mine)} instead of {list(others)}")
                continue
            found += [f"{part}: only here: {line}" for line in sorted(set(mine) - set(others))[:8]]
            found += [f"{part}: missing:   {line}" for line in sorted(set(others) - set(mine))[:8]]
        return found


def boot_entries(console: Console) -> tuple[str, ...]:
    """What the firmware would start, in its order."""
    tail = "-8be4df61-93ca-11d2-aa0d-00e098032b8c"
    script = (
        f"cd /sys/firmware/efi/efivars && for n in $(od -An -v -tx2 -j4 BootOrder{tail} | tr a-f A-F); do "
        f"echo entry:$(od -An -v -tx1 Boot$n{tail} | tr -d ' \\n'); done"
    )
    return tuple(line.partition(":")[2] for line in console.check(script).splitlines() if line.startswith("entry:"))


def state_of(disk: Disk, boot: tuple[str, ...], folder: Path, *, installed: bool) -> State:
    """Read a disk that is off, on the host."""
    raw = disk.raw_copy(folder / "state.raw")
    try:
        rows = call(["sfdisk", "--dump", raw]).replace(str(raw), "disk").splitlines()
        places = partitions(raw, sector_bytes=disk.sector_bytes)
        files = fat_files(raw, places[ESP.uuid], folder / "esp")
        shutil.rmtree(folder / "esp")
        tree = _tree(raw, disk, folder) if installed else ()
        esp = tuple(sorted(f"{path} {digest}" for path, digest in files.items()))
        return State(table=tuple(rows), esp=esp, boot=boot, tree=tree)
    finally:
        raw.unlink()


def _tree(raw: Path, disk: Disk, folder: Path) -> tuple[str, ...]:
    rows = call(["sfdisk", "--json", raw])
    found: list[str] = []
    for name, point in (("root", ""), ("home", "home/")):
        match = re.search(r'"start": ?(\d+),\s*"size": ?(\d+),[^}]*"name": ?"' + f'{name}"', rows)
        if match is None:
            return ("no partition " + name,)
        start, size = (int(word) * disk.sector_bytes for word in match.groups())
        with mounted(raw, start, size, folder / "mnt") as root:
            found += [f"{point}{line}" for line in _lines(root) if not _left_out(point + line.split(" ")[0])]
    return tuple(sorted(found))


@contextmanager
def mounted(raw: Path, start: int, size: int, point: Path) -> Iterator[Path]:
    """A partition of an image, mounted read-only."""
    point.mkdir(exist_ok=True)
    node = call(["losetup", "--find", "--show", "--offset", str(start), "--sizelimit", str(size), raw]).strip()
    try:
        call(["mount", "-o", "ro,noload", node, point])
        yield point
    finally:
        call(["umount", point])
        call(["losetup", "--detach", node])


def _left_out(path: str) -> bool:
    return any(_matches(path, pattern) for pattern in NOT_COMPARED)


def _matches(path: str, pattern: str) -> bool:
    start = pattern.removesuffix("/**")
    return path.startswith(start + "/") if start != pattern else path == pattern


def _lines(root: Path) -> Iterator[str]:
    for folder, names, files in os.walk(root):
        for name in sorted((*names, *files)):
            path = Path(folder) / name
            yield f"{path.relative_to(root)} {_about(path, str(path.relative_to(root)))}"


def _about(path: Path, name: str) -> str:
    found = path.lstat()
    head = f"{stat.filemode(found.st_mode)} {found.st_uid}:{found.st_gid}"
    if path.is_symlink():
        return f"{head} -> {os.readlink(path)}"
    if not stat.S_ISREG(found.st_mode):
        return head
    if name == "etc/shadow":
        rows = [row.split(":") for row in path.read_text().splitlines()]
        return f"{head} {[(row[0], row[1][:2], *row[2:]) for row in rows]}"
    if any(Path(name).match(pattern) for pattern in OF_ITS_OWN):
        return f"{head} {'filled' if found.st_size else 'EMPTY'}"
    return f"{head} {hashlib.file_digest(path.open('rb'), 'sha256').hexdigest()[:20]}"
