"""The verbs that only a change needs: partitions of a disk in use, judged by sfdisk(8), the kernel and dumpe2fs(8);
accounts with the account tools of this machine, see `test_users.py`; the rest on plain files."""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from attrs import frozen

from bedplate.testing.function_runner import SHELLS
from bedplate.testing.function_runner import run_function as run
from library import LIBRARY
from test_users import Verbs, needs_root, verbs

__all__ = ["verbs"]

LINUX = "0FC63DAF-8483-4772-8E79-3D69D8477DE4"
ROOT, MORE = "0B0C1A5E-1111-4222-8333-444455556666", "0B0C1A5E-1111-4222-8333-444455557777"
ROW = f'start=500000, size=8192, type={LINUX}, uuid={MORE}, name="unfinished-more"\n'
PLAN = f"""OUR_ROWS='{ROOT} 2048 204800 {LINUX} ext4 {ROOT.lower()} root root
{MORE} 500000 8192 {LINUX} ext4 {MORE.lower()} - more'
"""
ALL = [
    "disk/add-partition",
    "disk/drop-partition",
    "disk/grow-partition",
    "disk/grow-filesystem",
    "disk/filesystem-fills",
    "disk/partition-is",
    "disk/point-is-free",
]
MIB = 1 << 20
_EFFECTIVE = Path("/proc/self/status").read_text().split("CapEff:\t")[1].split()[0]
MAY_GROW = bool(int(_EFFECTIVE, 16) >> 24 & 1)
"""Whether the kernel lets this process grow a mounted ext4 (CAP_SYS_RESOURCE, capabilities(7)). Where it does not, the
partition still grows under the mounted file system, which is unmounted for the moment in which it grows itself."""


def call(*argv: object, text: str | None = None) -> str:
    ran = subprocess.run([str(word) for word in argv], input=text, capture_output=True, text=True)
    assert ran.returncode == 0, f"{argv}: {ran.stderr}"
    return ran.stdout


def patiently(*argv: object) -> str:
    """The same, tried for a while: a mount is held by every mount namespace that was made while it stood."""
    for _ in range(40):
        ran = subprocess.run([str(word) for word in argv], capture_output=True, text=True)
        if ran.returncode == 0:
            break
        time.sleep(0.5)
    assert ran.returncode == 0, f"{argv}: {ran.stdout}{ran.stderr}"
    return ran.stdout


@frozen(kw_only=True)
class InUse:
    """A loop device with one partition of 100 MiB whose ext4 is mounted."""

    node: str
    point: Path
    work: Path

    def run(self, line: str, text: str = "", shell: str = "dash") -> subprocess.CompletedProcess[str]:
        head = f"set -u\nNEW_LINE='\n'\nDISK={self.node} TARGET='' WORK={self.work}\nsay() {{ :; }}\n"
        whole = head + LIBRARY.text(ALL) + "\n" + line + "\n"
        return subprocess.run([*shell.split(), "-c", whole], input=text, capture_output=True, text=True, timeout=120)


@pytest.fixture
def in_use(tmp_path: Path) -> Iterator[InUse]:
    if os.getuid() != 0 or not Path("/dev/loop-control").exists():
        pytest.skip("a loop device needs root and /dev/loop-control")
    image, point, work = tmp_path / "disk.img", tmp_path / "mounted", tmp_path / "work"
    point.mkdir()
    work.mkdir()
    with image.open("wb") as file:
        file.truncate(400 * MIB)
    node = patiently("losetup", "--find", "--show", image).strip()
    try:
        call("sfdisk", "-q", node, text=f"label: gpt\nstart=2048, size=204800, type={LINUX}, uuid={ROOT}\n")
        patiently("partx", "-a", node)
        call("mkfs.ext4", "-q", f"{node}p1")
        call("mount", f"{node}p1", point)
        (point / "reading").write_text("17.3\n")
        yield InUse(node=node, point=point, work=work)
    finally:
        if os.path.ismount(point):
            call("umount", point)
        patiently("partx", "--delete", node)
        patiently("losetup", "--detach", node)


def rows(node: str) -> list[str]:
    return [line for line in call("sfdisk", "--dump", node).splitlines() if " : start=" in line]


def test_a_partition_is_added_to_a_disk_in_use_and_taken_away_again(in_use: InUse) -> None:
    before = call("sfdisk", "--dump", in_use.node)
    for _ in range(2):
        ran = in_use.run(f"verb_add_partition {MORE}", ROW)
        assert ran.returncode == 0, ran.stdout + ran.stderr
    assert len(rows(in_use.node)) == 2 and Path(f"{in_use.node}p2").is_block_device()
    assert in_use.run(f"verb_partition_is {MORE} 500000 8192 {LINUX} unfinished-more").returncode == 0
    for _ in range(2):
        ran = in_use.run(f"{PLAN}verb_drop_partition {MORE}")
        assert ran.returncode == 0, ran.stdout + ran.stderr
    assert call("sfdisk", "--dump", in_use.node) == before
    assert (in_use.point / "reading").read_text() == "17.3\n"


def test_a_partition_in_use_is_not_deleted(in_use: InUse) -> None:
    call("sfdisk", "-q", "--no-reread", "--part-label", in_use.node, "1", "root")
    made = call("blkid", "-p", "-o", "value", "-s", "UUID", f"{in_use.node}p1").strip()
    ran = in_use.run(f"{PLAN.replace(ROOT.lower(), made)}verb_drop_partition {ROOT}")
    assert ran.returncode == 0 and "in use" in (in_use.work / "left").read_text()
    assert len(rows(in_use.node)) == 1


@pytest.mark.parametrize("shell", ["dash", "bash", "busybox sh"])
def test_an_ext4_in_use_grows_with_its_partition(in_use: InUse, shell: str) -> None:
    fills = f"verb_filesystem_fills {ROOT} ext4 {in_use.point}"
    assert in_use.run(fills, shell=shell).returncode == 0
    for _ in range(2):
        ran = in_use.run(f"verb_grow_partition {ROOT} 2048 409600", shell=shell)
        assert ran.returncode == 0, ran.stdout + ran.stderr
    assert in_use.run(f"verb_partition_is {ROOT} 2048 409600 {LINUX}").returncode == 0
    assert "unused" in in_use.run(fills, shell=shell).stderr
    if not MAY_GROW:
        call("umount", in_use.point)
        patiently("e2fsck", "-fp", f"{in_use.node}p1")
    ran = in_use.run(f"verb_grow_filesystem {ROOT} ext4 {in_use.point}", shell=shell)
    assert ran.returncode == 0, ran.stderr
    if not MAY_GROW:
        call("mount", f"{in_use.node}p1", in_use.point)
    assert in_use.run(fills, shell=shell).returncode == 0
    room = os.statvfs(in_use.point)
    assert room.f_blocks * room.f_frsize > 180 * MIB
    assert (in_use.point / "reading").read_text() == "17.3\n"


def test_a_partition_never_shrinks_or_moves(in_use: InUse) -> None:
    before = rows(in_use.node)
    for words in ("2048 100000", "4096 409600"):
        ran = in_use.run(f"verb_grow_partition {ROOT} {words}")
        assert ran.returncode == 1 and "cannot become" in ran.stderr
    assert rows(in_use.node) == before


@pytest.mark.parametrize("shell", SHELLS, ids=" ".join)
def test_files_and_menus(tmp_path: Path, shell: tuple[str, ...]) -> None:
    first, second, link = tmp_path / "first", tmp_path / "second", tmp_path / "link"
    first.write_text("")
    second.write_text("")
    os.utime(first, (1, 1))
    link.symlink_to("nowhere")

    def held(verb: str, *args: str) -> bool:
        return run(verb, *args, target="", work=tmp_path, shell=shell).returncode == 0

    assert held("bootloader/made-after", str(second), str(first)) and not held(
        "bootloader/made-after", str(first), str(second)
    )
    assert held("is-gone", str(tmp_path / "none")) and not held("is-gone", str(link))
    assert not held("is-gone", str(first))


@needs_root
def test_an_account_goes_and_comes_back_with_its_password(verbs: Verbs, tmp_path: Path) -> None:
    person = ("ana", "1000", "/home/ana", "/bin/bash", "video", "Ana")
    root = tmp_path / "root"
    assert verbs("users/user-present", *person).returncode == 0
    assert verbs("chpasswd", "-e", stdin="ana:$6$salt$hash\n").returncode == 0
    shadow = (root / "etc/shadow").read_text()
    (root / "home/ana/tides").write_text("high\n")
    ran = verbs("users/user-drop", "ana", "")
    assert ran.returncode == 0, ran.stderr
    assert verbs("users/user-gone", "ana").returncode == 0
    assert (root / "home/ana/tides").read_text() == "high\n"
    assert (root / "var/lib/bedplate/aside/shadow-ana").stat().st_mode & 0o777 == 0o600
    assert verbs("users/user-drop", "ana", "").returncode == 0
    assert verbs("users/user-present", *person).returncode == 0
    assert verbs("users/user-restore", "ana").returncode == 0
    assert verbs("users/user-is", *person).returncode == 0
    hashes = [line.split(":")[:2] for line in shadow.splitlines()]
    assert [line.split(":")[:2] for line in (root / "etc/shadow").read_text().splitlines()] == hashes
    assert not (root / "var/lib/bedplate/aside/shadow-ana").exists()


@needs_root
def test_a_home_is_deleted_only_where_it_is_the_accounts_own(verbs: Verbs, tmp_path: Path) -> None:
    assert verbs("users/user-present", "ana", "1000", "/home/ana", "/bin/bash", "video", "Ana").returncode == 0
    wrong = verbs("users/user-drop", "ana", "/home")
    assert wrong.returncode == 1 and "nothing is deleted" in wrong.stderr
    assert (tmp_path / "root/home/ana").is_dir() and verbs("users/user-gone", "ana").returncode == 1
    assert verbs("users/user-drop", "ana", "/home/ana").returncode == 0
    assert not (tmp_path / "root/home/ana").exists()


@needs_root
def test_an_account_leaves_a_group(verbs: Verbs) -> None:
    assert verbs("users/user-present", "ana", "1000", "/home/ana", "/bin/bash", "video", "Ana").returncode == 0
    assert "is in the group video" in verbs("users/user-outside", "ana", "video").stderr
    assert verbs("users/user-leaves", "ana", "video").returncode == 0
    assert verbs("users/user-outside", "ana", "video").returncode == 0
    assert verbs("users/user-leaves", "ana", "video").returncode == 0
    assert verbs("users/group-gone", "tides").returncode == 0 and verbs("users/group-gone", "video").returncode == 1
