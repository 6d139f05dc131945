"""What is looked for at the end of a test run is found while it is there. Loop devices take root."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

import leftovers
from bedplate.units import MIB

MAPPER = subprocess.run(["dmsetup", "version"], capture_output=True, check=False).returncode == 0
"""Whether this kernel maps devices: dmsetup(8)."""


def command(*words: object) -> str:
    return subprocess.run([str(word) for word in words], capture_output=True, text=True, check=True).stdout.strip()


@pytest.mark.skipif(
    os.getuid() != 0 or not Path("/dev/loop-control").exists(), reason="a loop device needs root and /dev/loop-control"
)
def test_what_is_attached_mapped_or_mounted_is_named(tmp_path: Path) -> None:
    image, other = tmp_path / "disk.img", tmp_path / "other"
    other.mkdir()
    with image.open("wb") as file:
        file.truncate(8 * MIB)
    node = command("losetup", "--find", "--show", image)
    try:
        told = [f"{node} is attached to {image}"]
        assert leftovers.left([tmp_path]) == told and leftovers.left([other]) == []
        if MAPPER:
            name = f"bedplate-{os.getpid()}"
            command("dmsetup", "create", name, "--table", f"0 2048 linear {node} 0")
            assert leftovers.left([tmp_path]) == [*told, f"{name} is mapped onto {node}"]
            command("dmsetup", "remove", name)
    finally:
        command("losetup", "--detach", node)
    assert leftovers.left([tmp_path]) == []
    command("mount", "-t", "tmpfs", "mud", other)
    try:
        assert leftovers.left([tmp_path]) == [f"mud is mounted at {other}"]
    finally:
        command("umount", other)


def test_what_still_runs_is_named(tmp_path: Path) -> None:
    (tmp_path / "wait").write_text("read answer\n")
    with subprocess.Popen(["sh", tmp_path / "wait"], stdin=subprocess.PIPE) as process:
        assert leftovers.left([tmp_path]) == [f"process {process.pid} runs: sh {tmp_path}/wait"]
    assert leftovers.left([tmp_path]) == []


def test_folders_in_memory_are_told_by_the_number_of_their_process() -> None:
    own, other = (Path(f"/dev/shm/bedplate-left-{pid}-x") for pid in (os.getpid(), 0))
    for folder in (own, other):
        folder.mkdir(exist_ok=True)
    try:
        assert own in leftovers.in_memory(os.getpid()) and other not in leftovers.in_memory(os.getpid())
    finally:
        for folder in (own, other):
            folder.rmdir()
