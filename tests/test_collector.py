"""The collector: clean under the shells, tells what is missing, changes nothing, and sees what sfdisk and mkfs made.

The factory disk is a real one to the kernel (a loop device), which takes root; without it those tests are skipped.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from bedplate.survey import Survey, SurveyedDisk, SurveyedPartition
from bedplate.surveying import capture

ROOT = Path(__file__).resolve().parent.parent
SCRIPT = ROOT / "compiler" / "bedplate" / "surveying" / "collector.sh"
SHELLS = {"dash": ["dash"], "bash": ["bash", "--posix"], "busybox": ["busybox", "sh"]}

ESP = "C12A7328-F81F-11D2-BA4B-00A0C93EC93B"
DATA = "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7"
LINUX = "0FC63DAF-8483-4772-8E79-3D69D8477DE4"

ROWS = [
    (1, 1, 300, ESP, "EFI system"),
    (2, 301, 60, DATA, 'a "b" \\x'),
    (3, 400, 50, LINUX, ""),
    (7, 500, 20, LINUX, "é"),
]
"""Number, start and size in MiB, type, name."""

Factory = tuple[str, str, Path]
"""The disk's node, its capture, and the image behind it."""


def call(*argv: object, text: str | None = None, path: str | None = None) -> str:
    environment = os.environ | ({} if path is None else {"PATH": path})
    ran = subprocess.run([str(word) for word in argv], input=text, capture_output=True, text=True, env=environment)
    assert ran.returncode == 0, ran.stderr
    return ran.stdout


def test_the_script_is_what_the_program_prints() -> None:
    assert capture.collect_script() == SCRIPT.read_text(encoding="utf-8")


def test_shellcheck_finds_nothing() -> None:
    call("shellcheck", "--shell=sh", "--enable=quote-safe-variables", SCRIPT)


@pytest.mark.parametrize("shell", SHELLS)
def test_every_shell_reads_it(shell: str) -> None:
    call(*SHELLS[shell], "-n", SCRIPT)


@pytest.mark.parametrize("shell", SHELLS)
def test_every_shell_makes_a_whole_capture_of_this_machine(shell: str) -> None:
    text = call(*SHELLS[shell], SCRIPT)
    assert all(line == "" or line.startswith(("bedplate-capture 1", "== ", "| ", "!! ")) for line in text.split("\n"))
    survey = capture.survey_from(text)
    assert survey.machine.memory_bytes == memory_of_this_machine()
    assert survey.taken


def memory_of_this_machine() -> int:
    [line] = [one for one in Path("/proc/meminfo").read_text().split("\n") if one.startswith("MemTotal")]
    return int(line.split()[1]) * 1024


def test_a_machine_without_the_tools_gets_sentences_and_no_failure(tmp_path: Path) -> None:
    """With busybox alone; the folders the script adds to its path are shadowed by tools that fail."""
    tools = tmp_path / "bin"
    tools.mkdir()
    for name in ("lsblk", "sfdisk", "blkid", "efibootmgr", "ip", "blockdev", "ethtool"):
        (tools / name).write_text("#!/bin/sh\necho cannot >&2\nexit 1\n")
        (tools / name).chmod(0o755)
    busybox = shutil.which("busybox")
    assert busybox is not None
    for name in call(busybox, "--list").split():
        if not (tools / name).exists():
            (tools / name).symlink_to(busybox)
    survey = capture.survey_from(call(busybox, "sh", SCRIPT, path=str(tools)))
    assert "ip-link: ip failed: cannot" in survey.notes
    assert "lsblk: missing, or too old to answer in JSON" in survey.notes
    assert survey.machine.memory_bytes == memory_of_this_machine()


def test_only_fat_is_ever_mounted_and_only_to_be_read() -> None:
    lines = [line.strip() for line in SCRIPT.read_text().split("\n") if not line.lstrip().startswith("#")]
    mounts = [line for line in lines if "mount " in f"{line} ".replace("umount ", "")]
    assert mounts == ['if ! mount -t vfat -o ro,nosuid,nodev,noexec "$1" "$WORK/esp" 2>/dev/null; then']


def test_it_leaves_nothing_behind(tmp_path: Path) -> None:
    environment = os.environ | {"TMPDIR": str(tmp_path)}
    subprocess.run(["sh", SCRIPT], env=environment, check=True, capture_output=True)
    assert list(tmp_path.iterdir()) == []


# --- a factory disk --------------------------------------------------------------------------------------------------


def factory_disk(image: Path, sector: int) -> str:
    """A disk of 600 MiB with four partitions and a hole, attached as a loop device; its node."""
    with image.open("wb") as file:
        file.truncate(600 << 20)
    node = call("losetup", "--find", "--show", "--sector-size", sector, image).strip()
    mib = (1 << 20) // sector
    lines = [f"{n}: start={at * mib}, size={size * mib}, type={kind}" for n, at, size, kind, _ in ROWS]
    call("sfdisk", "--quiet", "--no-reread", node, text="label: gpt\nunit: sectors\n\n" + "\n".join(lines) + "\n")
    for number, *_, name in ROWS:
        if name:
            call("sfdisk", "--quiet", "--no-reread", "--part-label", node, number, name)
    call("partx", "--update", node)
    return node


def fill(node: str, folder: Path) -> None:
    loader = folder / "loader.efi"
    loader.write_bytes(b"MZ" * 50_000)
    call("mkfs.fat", "-F", "32", "-i", "0217ABCD", "-n", "SYSTEM", f"{node}p1")
    for name in ("::/EFI", "::/EFI/Boot", "::/EFI/Old one"):
        call("mmd", "-i", f"{node}p1", name)
    for name in ("::/EFI/Boot/bootx64.efi", "::/EFI/Old one/GRUBX64.EFI", "::/EFI/Boot/readme.txt"):
        call("mcopy", "-i", f"{node}p1", loader, name)
    call("mkfs.ntfs", "--quick", "--force", "--label", "System", f"{node}p2")
    call("mkfs.ext4", "-q", "-F", "-L", "root $(x)", "-U", "11111111-2222-4333-8444-555555555555", f"{node}p3")


@pytest.fixture(scope="module", params=[512, 4096])
def factory(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Factory]:
    """The factory disk, surveyed."""
    if os.getuid() != 0 or not Path("/dev/loop-control").exists():
        pytest.skip("a loop device needs root and /dev/loop-control")
    folder = tmp_path_factory.mktemp("factory")
    image = folder / "disk.img"
    node = factory_disk(image, request.param)
    try:
        fill(node, folder)
        before = digest(image)
        text = call("sh", SCRIPT, node)
        assert digest(image) == before, "the collector changed the disk"
        yield node, text, image
    finally:
        subprocess.run(["partx", "--delete", node], check=False, capture_output=True)
        call("losetup", "--detach", node)


def digest(image: Path) -> str:
    call("sync", image)
    with image.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def the_disk(survey: Survey, node: str) -> SurveyedDisk:
    [disk] = survey.disks
    assert disk.path == node
    return disk


def test_the_table_is_as_sfdisk_made_it(factory: Factory) -> None:
    node, text, image = factory
    disk = the_disk(capture.survey_from(text), node)
    mib = (1 << 20) // disk.sector_size
    assert disk.size_bytes == image.stat().st_size
    assert disk.faults == ()
    assert disk.table is not None and (disk.table.label, disk.table.length) == ("gpt", 128)
    assert [(part.number, part.start // mib, part.size // mib, part.type) for part in disk.partitions] == [
        row[:4] for row in ROWS
    ]
    assert [part.name for part in disk.partitions] == [row[4] for row in ROWS]
    assert [(free.start // mib, free.aligned_mib) for free in disk.free] == [(361, 39), (450, 50), (520, 79)]


def test_the_insides_are_as_mkfs_made_them(factory: Factory) -> None:
    node, text, _ = factory
    parts: dict[int, SurveyedPartition] = {
        part.number: part for part in the_disk(capture.survey_from(text), node).partitions
    }
    inside = {number: part.filesystem for number, part in parts.items()}
    esp, ntfs, ext = inside[1], inside[2], inside[3]
    assert esp is not None and ntfs is not None and ext is not None and inside[7] is None
    assert (esp.type, esp.version, esp.label, esp.uuid) == ("vfat", "FAT32", "SYSTEM", "0217-ABCD")
    assert esp.free_bytes is not None and 270 << 20 < esp.free_bytes < 300 << 20
    assert parts[1].files == ("/EFI/Boot/bootx64.efi", "/EFI/Old one/GRUBX64.EFI")
    assert (ntfs.type, ntfs.label, ntfs.dirty) == ("ntfs", "System", False)
    assert ntfs.min_bytes is not None and ntfs.used_bytes is not None and ntfs.min_bytes <= 60 << 20
    assert (ext.type, ext.label, ext.dirty) == ("ext4", "root $(x)", False)
    assert ext.uuid == "11111111-2222-4333-8444-555555555555"
    assert ext.used_bytes is not None and ext.free_bytes is not None
    assert ext.used_bytes + ext.free_bytes == 50 << 20


def attached(image: Path) -> str:
    if os.getuid() != 0 or not Path("/dev/loop-control").exists():
        pytest.skip("a loop device needs root and /dev/loop-control")
    with image.open("ab") as file:
        file.truncate(64 << 20)
    return call("losetup", "--find", "--show", image).strip()


@pytest.mark.parametrize("shell", SHELLS)
def test_an_empty_disk_and_one_that_cannot_be_opened_are_told_apart(shell: str, tmp_path: Path) -> None:
    node = attached(tmp_path / "disk.img")
    try:
        empty = the_disk(capture.survey_from(call(*SHELLS[shell], SCRIPT, node)), node)
        call("mkfs.ext4", "-q", "-F", node)
        plain = the_disk(capture.survey_from(call(*SHELLS[shell], SCRIPT, node)), node)
        user = ["setpriv", "--reuid", "65534", "--clear-groups", *SHELLS[shell], "-s", node]
        ran = subprocess.run(user, input=SCRIPT.read_text(), capture_output=True, text=True, cwd="/")
    finally:
        call("losetup", "--detach", node)
    assert (empty.readable, empty.unread, empty.table, empty.content) == (True, False, None, "")
    assert (plain.readable, plain.unread, plain.content) == (True, False, "ext4")
    assert ran.returncode == 1 and "NOT as root" in ran.stderr
    disk = the_disk(capture.survey_from(ran.stdout), node)
    assert disk.unread and not disk.readable and disk.faults


def test_a_gpt_without_its_headers_is_not_taken_for_an_empty_disk(factory: Factory, tmp_path: Path) -> None:
    _, _, image = factory
    hurt = tmp_path / "hurt.img"
    call("cp", "--sparse=always", image, hurt)
    with hurt.open("r+b") as file:
        for at in (512, 4096, (600 << 20) - 512, (600 << 20) - 4096):
            file.seek(at)
            file.write(bytes(512))
    node = call("losetup", "--find", "--show", hurt).strip()
    try:
        disk = the_disk(capture.survey_from(call("sh", SCRIPT, node)), node)
    finally:
        call("losetup", "--detach", node)
    assert disk.unread and disk.faults


def test_a_disk_that_grew_is_named(factory: Factory, tmp_path: Path) -> None:
    """The backup header stays where the old end was; sfdisk's exit status does not tell (util-linux 2.38.1)."""
    node, _, image = factory
    grown = tmp_path / "grown.img"
    call("cp", "--sparse=always", image, grown)
    with grown.open("r+b") as file:
        file.truncate(700 << 20)
    sector = call("blockdev", "--getss", node).strip()
    bigger = call("losetup", "--find", "--show", "--sector-size", sector, grown).strip()
    try:
        disk = the_disk(capture.survey_from(call("sh", SCRIPT, bigger)), bigger)
    finally:
        call("losetup", "--detach", bigger)
    [fault] = disk.faults
    assert "not at the last sector" in fault
