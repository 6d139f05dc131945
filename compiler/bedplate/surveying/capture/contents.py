"""What lies inside partitions. Enters: blkid's answer and what the file-system tools print. Leaves: a
`SurveyedFileSystem`, loader files.

Meaning of ntfs-3g.probe's exit status: its manual page (14 hibernated, 15 not shut down cleanly). Field names of
the other tools: their own output, e2fsprogs 1.47, ntfs-3g 2022.10.3, btrfs-progs 6.2, xfsprogs 6.1.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from attrs import evolve, frozen

from bedplate.storage_layers import TABLES
from bedplate.survey import SurveyedFileSystem, SurveyedSignature
from bedplate.surveying.capture.boot import room
from bedplate.surveying.capture.machine import one_line
from bedplate.surveying.capture.sections import Capture

_ESCAPED = re.compile(r"\\(.)")


@frozen(kw_only=True)
class _Usage:
    """Bytes of a file system; None where no tool told."""

    used: int | None = None
    free: int | None = None
    smallest: int | None = None
    dirty: bool | None = None
    unclean: str = ""
    devices: int | None = None


def filesystem(
    capture: Capture, node: str, listed: Mapping[str, object], mounted: bool = False
) -> SurveyedFileSystem | None:
    """What the partition `node` holds, or None for nothing known. `listed` is lsblk's row of it, for a capture that
    was made without root. The journal of a `mounted` one is open, which says nothing."""
    signed = signature(capture, node)
    kind = signed.get("TYPE") or str(listed.get("fstype") or "")
    if not kind:
        return None
    usage = _usage(capture, node, kind)
    if mounted and usage.dirty and kind != "ntfs":
        usage = evolve(usage, dirty=None, unclean="")
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
        unclean=usage.unclean,
        member=signed.get("UUID_SUB", ""),
        devices=usage.devices,
        **group(capture, node),
    )


def group(capture: Capture, node: str) -> dict[str, str]:
    """Name and identity of the volume group that a physical volume belongs to, as fields."""
    facts = capture.facts("volume-group", node)
    return {"group": one_line(facts.get("name", "")), "group_uuid": one_line(facts.get("uuid", ""))}


def signature(capture: Capture, node: str) -> dict[str, str]:
    """blkid's answer for `node`, its shell quoting undone."""
    return {key: _ESCAPED.sub(r"\1", value) for key, value in capture.facts("signature", node).items()}


def signatures(capture: Capture, disk: str) -> tuple[SurveyedSignature, ...]:
    """Everything on the disk itself but tables: what wipefs lists and, in a capture without that, what blkid tells."""
    told = signature(capture, disk)
    data = capture.data("signatures", disk)
    rows = data.get("signatures") if isinstance(data, dict) else None
    told_as_row = {"type": told.get("TYPE", ""), "uuid": told.get("UUID", ""), "label": told.get("LABEL", "")}
    listed = rows if isinstance(rows, list) else [told_as_row]
    found = (_signature(capture, disk, row, told) for row in listed if isinstance(row, dict) and row.get("type"))
    return tuple(dict.fromkeys(one for one in found if one.type not in TABLES))


def _signature(capture: Capture, disk: str, row: Mapping[str, object], told: Mapping[str, str]) -> SurveyedSignature:
    kind = one_line(str(row["type"]))
    return SurveyedSignature(
        type=kind,
        offset=_offset(str(row.get("offset"))),
        uuid=one_line(str(row.get("uuid") or "")),
        label=str(row.get("label") or ""),
        member=told.get("UUID_SUB", "") if told.get("TYPE") == kind else "",
        **(group(capture, disk) if kind == "LVM2_member" else {}),
    )


def _offset(text: str) -> int | None:
    """wipefs writes `0x1fe`; newer ones may write a number."""
    return int(text, 0) if re.fullmatch(r"0x[0-9a-f]+|0|[1-9][0-9]*", text) else None


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
        return _xfs(capture.facts("xfs", node), capture.text("xfs-log", node))
    if kind == "swsuspend":
        return _Usage(dirty=True, unclean="it holds the memory of a hibernated system")
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
        unclean={"14": "it is hibernated, or was left by a fast start", "15": "it was not unmounted"}.get(state, ""),
    )


def _found(pattern: str, text: str) -> int | None:
    match = re.search(pattern, text, re.MULTILINE)
    return int(match.group(1)) if match else None


def _colon_facts(text: str) -> dict[str, str]:
    pairs = (line.partition(":") for line in text.split("\n"))
    return {key: value.strip() for key, _, value in pairs}


def _ext(facts: Mapping[str, str]) -> _Usage:
    try:
        block, count, free = (int(facts[key]) for key in ("Block size", "Block count", "Free blocks"))
    except (KeyError, ValueError):
        return _Usage()
    why = ""
    if facts.get("Filesystem state", "clean") != "clean":
        why = f"its state is {one_line(facts['Filesystem state'])}"
    elif "needs_recovery" in facts.get("Filesystem features", "").split():
        why = "its journal holds changes that were never written to their places"
    return _Usage(used=(count - free) * block, free=free * block, dirty=bool(why), unclean=why)


def _xfs(facts: Mapping[str, str], log: str) -> _Usage:
    """xfs_db prints `dblocks = 81920`: blocks of the data section, and free ones, of the superblock."""
    numbers = {key.strip(): value for key, value in facts.items()}
    try:
        block, count, free = (int(numbers[key]) for key in ("blocksize", "dblocks", "fdblocks"))
    except (KeyError, ValueError):
        return _Usage()
    clean = None if "state:" not in log else "state: <CLEAN>" in log
    why = "its log holds changes that were never written to their places" if clean is False else ""
    dirty = None if clean is None else not clean
    return _Usage(used=(count - free) * block, free=free * block, dirty=dirty, unclean=why)


def _btrfs(text: str) -> _Usage:
    total, used = _found(r"total_bytes\s+(\d+)", text), _found(r"bytes_used\s+(\d+)", text)
    log, devices = _found(r"^log_root\s+(\d+)", text), _found(r"^num_devices\s+(\d+)", text)
    why = "its log tree holds changes that were never written to their places" if log else ""
    known = _Usage(dirty=None if log is None else bool(log), unclean=why, devices=devices or None)
    if total is None or used is None:
        return known
    return evolve(known, used=used, free=total - used)
