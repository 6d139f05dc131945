"""The only door to the disk for reading: documents and captures; what was read is remembered until the call ends."""

from __future__ import annotations

import os
import re
import stat

from bedplate.faults import Place, Rejected, reject

STANDARD_INPUT = ("-", "/dev/stdin")
"""Names that mean no file of their own."""
_OPEN_STREAM = re.compile(r"/(?:dev|proc/self)/fd/[0-9]+")
_SPECIAL = (
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
    (stat.S_ISSOCK, "a socket"),
)
_read: dict[tuple[int, int], str] = {}
"""What this call has read, by device and inode."""


def begin() -> None:
    """A new call: nothing is read yet."""
    _read.clear()


def was_read(there: os.stat_result) -> str:
    """The name under which that file was read in this call, or nothing."""
    return _read.get((there.st_dev, there.st_ino), "")


def read_document(name: str, limit: int) -> bytes:
    """The first `limit + 1` bytes of a regular file. Raises Rejected for what is none, else as `open` does."""
    if name in STANDARD_INPUT:
        message = "standard input is not read here: a spec names files beside it, so it has to be a file itself"
        raise reject("not-a-file", message, place=Place(file=name))
    return _regular(name, limit)


def read_capture(name: str, limit: int) -> bytes:
    """The same for a capture, which may come through a pipe that is open already. Raises Rejected, OSError."""
    if name in STANDARD_INPUT or _OPEN_STREAM.fullmatch(name):
        with open(0 if name in STANDARD_INPUT else name, "rb", closefd=name not in STANDARD_INPUT) as stream:
            return _whole(stream.fileno(), name, limit)
    return _regular(name, limit)


def _regular(name: str, limit: int) -> bytes:
    """Opened without waiting: a pipe nobody writes to, or a kernel log, would keep us for ever."""
    if os.path.isdir(name):
        raise IsADirectoryError(21, os.strerror(21), name)
    if special := _special(os.stat(name).st_mode, name):
        raise special
    handle = os.open(name, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY)
    try:
        if special := _special(os.fstat(handle).st_mode, name):  # it may have been changed in between
            raise special
        return _whole(handle, name, limit)
    except BlockingIOError:
        message = "this is no file with an end: reading it would wait for ever"
        raise reject("not-a-file", message, place=Place(file=name)) from None
    finally:
        os.close(handle)


def _special(mode: int, name: str) -> Rejected | None:
    for is_special, what in _SPECIAL:
        if is_special(mode):
            return reject("not-a-file", f"this is {what}, not a file", place=Place(file=name))
    return None


def _whole(handle: int, name: str, limit: int) -> bytes:
    there = os.fstat(handle)
    if stat.S_ISREG(there.st_mode):
        _read[there.st_dev, there.st_ino] = name
    parts, left = [], limit + 1
    while left > 0 and (part := os.read(handle, min(left, 1 << 20))):
        parts.append(part)
        left -= len(part)
    return b"".join(parts)
