"""What a test run has left on the machine: whatever is held by something in the run's own folders, or runs from there.

Others work on the machine meanwhile; only what belongs to one of these folders is looked at, never all that is new.
"""

from __future__ import annotations

import subprocess
from collections.abc import Iterable, Iterator
from pathlib import Path

MEMORY = Path("/dev/shm")


def left(folders: Iterable[Path]) -> list[str]:
    """Loop devices, what is mounted, mapped or swapped to on them, processes, and folders in memory; each in words."""
    own = tuple(f"{folder.resolve()}" for folder in folders)
    loops = dict(_loops(own))
    found = [f"{node} is attached to {image}" for node, image in loops.items()]
    found += [f"{node} is in use for swap" for node in _swaps() if node.startswith((*loops, *own))]
    found += list(_mapped(loops))
    for line in Path("/proc/self/mountinfo").read_text().splitlines():
        fields, source = line.split(), line.partition(" - ")[2].split()[1]
        if fields[4].startswith(own) or source.startswith(tuple(loops)):
            found.append(f"{source} is mounted at {fields[4]}")
    return found + list(_processes(own))


def orphans() -> list[str]:
    """Partitions of loop devices to which nothing is attached."""
    nodes = sorted(Path("/sys/block").glob("loop*/loop*p*"))
    return [
        f"/dev/{node.name} is still there" for node in nodes if not (node.parent / "loop" / "backing_file").exists()
    ]


def in_memory(pid: int) -> list[Path]:
    """Folders of that process in memory: their names hold its number."""
    return sorted(MEMORY.glob(f"bedplate-*-{pid}-*"))


def _loops(own: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    for file in sorted(Path("/sys/block").glob("loop*/loop/backing_file")):
        image = file.read_text().strip()
        if image.startswith(own):
            yield f"/dev/{file.parent.parent.name}", image


def _swaps() -> list[str]:
    return [line.split()[0] for line in Path("/proc/swaps").read_text().splitlines()[1:]]


def _mapped(loops: Iterable[str]) -> Iterator[str]:
    for node in loops:
        name = node.removeprefix("/dev/")
        for holder in sorted(Path("/sys/block", name).glob("**/holders/*")):
            yield f"{(holder / 'dm/name').read_text().strip()} is mapped onto {node}"


def _processes(own: tuple[str, ...]) -> Iterator[str]:
    ran = subprocess.run(["ps", "-ww", "-eo", "pid=,args="], capture_output=True, text=True, check=True)
    for line in ran.stdout.splitlines():
        pid, _, words = line.strip().partition(" ")
        if any(f"{folder}/" in words for folder in own):
            yield f"process {pid} runs: {words}"
