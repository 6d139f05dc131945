"""What lies inside partitions. Enters: blkid's answer and what the file-system tools print. Leaves: a
`SurveyedFileSystem`, loader files.

Meaning of ntfs-3g.probe's exit status: its manual page (14 hibernated, 15 not shut down cleanly). Field names of
the other tools: their own output, e2fsprogs 1.47, ntfs-3g 2022.10.3, btrfs-progs 6.2, xfsprogs 6.1.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from attrs import frozen

from bedplate.capture.boot import room
from bedplate.capture.sections import Capture
from bedplate.survey import SurveyedFileSystem

_ESCAPED = re.compile(r"\\(.)")


@frozen(kw_only=True)
class _Usage:
    """Bytes of a file system; None where no tool told."""

    used: int | None = None
    free: int | None = None
    smallest: int | None = None
    dirty: bool | None = None


def filesystem(capture: Capture, node: str, listed: Mapping[str, object]) -> SurveyedFileSystem | None:
    """What the partition `node` holds, or None for nothing known. `listed` is lsblk's row of it, for a capture that
    was made without root."""
    signed = signature(capture, node)
    kind = signed.get("TYPE") or str(listed.get("fstype") or "")
    if not kind:
        return None
    usage = _usage(capture, node, kind)
    used, free = (usage.used, usage.free) if usage.used is not None or usage.free is not None else _mounted(listed)
    return SurveyedFileSystem(
        type=kind,
        version=signed.get("VERSION") or str(listed.get("fsver") or ""),
        label=signed.get("LABEL") or str(listed.get("label") or ""),
        uuid=signed.get("UUID") or str(listed.get("uuid") or ""),
        used_bytes=used,
        free_bytes=free,
        min_bytes=usage.smallest,
        dirty=usage.dirty,
    )


def signature(capture: Capture, node: str) -> dict[str, str]:
    """blkid's answer for `node`, its shell quoting undone."""
    return {key: _ESCAPED.sub(r"\1", value) for key, value in capture.facts("signature", node).items()}


def loader_files(capture: Capture, node: str) -> tuple[str, ...]:
    """Paths of the boot loaders on an EFI system partition, sorted."""
    lines = capture.text("esp-files", node).split("\n")
    return tuple(sorted(line for line in lines if line.startswith("/") and line.isprintable()))


def _usage(capture: Capture, node: str, kind: str) -> _Usage:
    if kind == "vfat":
        return _vfat(capture, node)
    if kind == "ntfs":
        return _ntfs(capture, node)
    if kind in ("ext2", "ext3", "ext4"):
        return _ext(_colon_facts(capture.text("ext", node)))
    if kind == "btrfs":
        return _btrfs(capture.text("btrfs", node))
    if kind == "xfs":
        return _xfs(capture.facts("xfs", node))
    return _Usage()


def _mounted(listed: Mapping[str, object]) -> tuple[int | None, int | None]:
    """Used and free bytes of a mounted file system, from lsblk."""
    used, free = listed.get("fsused"), listed.get("fsavail")
    return _number(used), _number(free)


def _number(value: object) -> int | None:
    text = str(value)
    return int(text) if text.isascii() and text.isdigit() else None


def _vfat(capture: Capture, node: str) -> _Usage:
    used, free = room(capture.text("esp-room", node))
    return _Usage(used=used, free=free if free is not None else _number(capture.text("esp-free", node).strip()))


def _ntfs(capture: Capture, node: str) -> _Usage:
    """ntfsresize tells what is in use in millions of bytes, rounded up; that is kept."""
    text = capture.text("ntfs", node)
    volume = _found(r"Current volume size: (\d+) bytes", text)
    used = _found(r"Space in use\s*: (\d+) MB", text)
    smallest = _found(r"You might resize at (\d+) bytes", text)
    in_use = None if used is None else used * 1_000_000
    state = capture.text("ntfs-state", node).strip()
    return _Usage(
        used=in_use,
        free=None if volume is None or in_use is None else max(0, volume - in_use),
        smallest=smallest,
        dirty={"0": False, "14": True, "15": True}.get(state),
    )


def _found(pattern: str, text: str) -> int | None:
    match = re.search(pattern, text)
    return int(match.group(1)) if match else None


def _colon_facts(text: str) -> dict[str, str]:
    pairs = (line.partition(":") for line in text.split("\n"))
    return {key: value.strip() for key, _, value in pairs}


def _ext(facts: Mapping[str, str]) -> _Usage:
    try:
        block, count, free = (int(facts[key]) for key in ("Block size", "Block count", "Free blocks"))
    except (KeyError, ValueError):
        return _Usage()
    state = facts.get("Filesystem state", "clean")
    return _Usage(used=(count - free) * block, free=free * block, dirty=state != "clean")


def _xfs(facts: Mapping[str, str]) -> _Usage:
    """xfs_db prints `dblocks = 81920`: blocks of the data section, and free ones, of the superblock."""
    numbers = {key.strip(): value for key, value in facts.items()}
    try:
        block, count, free = (int(numbers[key]) for key in ("blocksize", "dblocks", "fdblocks"))
    except (KeyError, ValueError):
        return _Usage()
    return _Usage(used=(count - free) * block, free=free * block)


def _btrfs(text: str) -> _Usage:
    total, used = _found(r"total_bytes\s+(\d+)", text), _found(r"bytes_used\s+(\d+)", text)
    if total is None or used is None:
        return _Usage()
    return _Usage(used=used, free=total - used)
