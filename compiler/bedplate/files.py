"""The only door to the disk: reading documents whole, writing outputs beside their place and renaming them."""

from __future__ import annotations

import os
import stat
import tempfile
from pathlib import Path

from bedplate.faults import Place, reject

STANDARD_INPUT = ("-", "/dev/stdin")
"""Names that mean no file of their own."""
_SPECIAL = (
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
    (stat.S_ISSOCK, "a socket"),
)


def read_document(name: str, limit: int) -> bytes:
    """As `read_bytes`. Raises Rejected for what is no regular file: a pipe could keep us waiting for ever."""
    if name in STANDARD_INPUT:
        message = "standard input is not read here: a spec names files beside it, so it has to be a file itself"
        raise reject("not-a-file", message, place=Place(file=name))
    mode = os.stat(name).st_mode
    for is_special, what in _SPECIAL:
        if is_special(mode):
            raise reject("not-a-file", f"this is {what}, not a file", place=Place(file=name))
    return read_bytes(name, limit)


def read_bytes(name: str, limit: int) -> bytes:
    """The first `limit + 1` bytes of the file, or all of it if shorter. Raises OSError or ValueError as `open` does."""
    with open(name, "rb") as stream:
        return stream.read(limit + 1)


def write_text(path: Path, text: str, executable: bool = False) -> None:
    """Write `text` (UTF-8) to `path` as a whole or not at all. Raises OSError."""
    mode = 0o755 if executable else 0o644
    try:
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    except OSError as error:
        why = "there is no such folder; make it first" if isinstance(error, FileNotFoundError) else error.strerror
        raise OSError(error.errno, why, str(path.parent)) from None
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
        os.chmod(beside, mode & ~_umask())
        os.replace(beside, path)
    except BaseException:
        os.unlink(beside)
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
