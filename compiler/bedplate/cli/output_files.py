"""Outputs: whether each may stand where it is wanted, and writing all of them whole or not at all.

Enters: texts with their places. Leaves: files. Never replaced: what was read in this call, and what belongs to the
program or a plugin. Replaced without `--force`: an empty file, and what its marks show to be an earlier output.
"""

from __future__ import annotations

import os
import re
import stat
import sys
from collections.abc import Sequence

from attrs import frozen

from bedplate.cli import files

STANDARD_OUTPUT = "-"
_DESCRIPTOR = re.compile(r"/(?:dev|proc/self)/fd/([0-9]+)")
_STREAMS = {"/dev/stdout": 1, "/dev/stderr": 2, STANDARD_OUTPUT: 1}
_HEAD = 4096
"""Bytes of a file in which its marks have to stand."""


@frozen(kw_only=True)
class Output:
    """One text and where it goes."""

    path: str
    text: str
    marks: tuple[str, ...] = ()
    """Texts that all stand in the first bytes of an earlier output of the same kind for the same machine. Without any,
    whatever is there is somebody else's."""
    executable: bool = False
    private: bool = False
    """Whether nobody but the owner may read it."""


class Refused(Exception):
    """Raised where an output may not or cannot be written. Carries one sentence for each."""

    def __init__(self, sentences: Sequence[str]) -> None:
        super().__init__("; ".join(sentences))
        self.sentences = tuple(sentences)


def write(outputs: Sequence[Output], *, force: bool = False, folder: str = "") -> None:
    """Write all, or none: every place is tried and every text lies beside its place before the first is replaced.

    `folder` is made if it is not there. Raises Refused.
    """
    places = look(outputs, force=force, folder=folder)
    if folder:
        os.makedirs(folder, exist_ok=True)
    plain = [(one, place) for one, place in zip(outputs, places, strict=True) if _is_file_place(one.path, place)]
    _replace(plain)
    for one, place in zip(outputs, places, strict=True):
        if (one, place) not in plain:
            _write_through(one)


def look(outputs: Sequence[Output], *, force: bool = False, folder: str = "") -> list[str]:
    """Where the outputs would go, links followed. Raises Refused if any of them may not go there; writes nothing."""
    places = [os.path.realpath(one.path) for one in outputs]
    wrong = [_in_the_way(one, place, force, folder) for one, place in zip(outputs, places, strict=True)]
    wrong += [f"{place}: two outputs would go there" for place in sorted(set(places)) if places.count(place) > 1]
    if any(wrong):
        raise Refused([sentence for sentence in wrong if sentence])
    return places


def _replace(outputs: Sequence[tuple[Output, str]]) -> None:
    """All texts beside their places first: a full disk shows there. Then each takes its place in one step."""
    beside: list[str] = []
    done: list[str] = []
    try:
        for one, place in outputs:
            beside.append(_lay_beside(one, place))
        for path, (one, place) in zip(tuple(beside), outputs, strict=True):
            os.replace(path, place)
            beside.remove(path)
            done.append(one.path)
    except OSError as error:
        already = f"; written before that: {', '.join(done)}" if done else ""
        name = error.filename2 or error.filename
        raise Refused([f"{name}: {_why(error)}; nothing there was changed{already}"]) from None
    finally:
        for path in beside:
            os.unlink(path)


# --- what is there ---------------------------------------------------------------------------------------------------


def _is_file_place(path: str, place: str) -> bool:
    """Whether a regular file stands there or may be made there: all else is written through."""
    if _descriptor(path) is not None:
        return False
    try:
        return stat.S_ISREG(os.stat(place).st_mode)
    except FileNotFoundError:
        return True


def _descriptor(path: str) -> int | None:
    found = _DESCRIPTOR.fullmatch(path)
    return int(found[1]) if found else _STREAMS.get(path)


def _in_the_way(output: Output, place: str, force: bool, folder: str) -> str:
    """Why the output may not go there, or nothing."""
    name = output.path
    if _descriptor(name) is not None:
        return ""
    try:
        there = os.stat(place)
    except FileNotFoundError:
        return "" if folder else _no_folder(place)
    except OSError as error:
        return f"{name}: {_why(error)}"
    if stat.S_ISDIR(there.st_mode):
        return f"{name}: this is a folder; name a file in it"
    if stat.S_ISBLK(there.st_mode):
        return f"{name}: this is a disk or a part of one, and nothing is ever written over it; name a file"
    if not stat.S_ISREG(there.st_mode):
        return ""
    if what := files.was_read(there):
        return f"{name}: this file is read in the same call ({what}), and is never replaced; name another --out"
    if _of_program(place, there):
        return f"{name}: this file belongs to Bedplate or to a plugin, and is never replaced; name another --out"
    if force or there.st_size == 0:
        return ""
    if not there.st_mode & 0o222:
        return f"{name}: this file is write-protected and stays as it is; --force replaces it"
    return "" if _ours(output, place) else f"{name}: {_foreign(output)} stays as it is; --force replaces it"


def _foreign(output: Output) -> str:
    if not output.marks:
        return "this file is there already and"
    return "this file is there already, is no earlier output of this kind for this machine, and"


def _no_folder(place: str) -> str:
    folder = os.path.dirname(place)
    if os.path.isdir(folder):
        return ""
    if os.path.lexists(folder):
        return f"{folder}: this is not a folder"
    return f"{folder}: there is no such folder; make it first"


def _ours(output: Output, place: str) -> bool:
    try:
        with open(place, "rb") as stream:
            head = stream.read(_HEAD).decode("utf-8", "replace")
    except OSError:
        return False
    return bool(output.marks) and all(mark in head for mark in output.marks)


def _of_program(place: str, there: os.stat_result) -> bool:
    for module in list(sys.modules.values()):
        file = getattr(module, "__file__", None)
        if not isinstance(file, str):
            continue
        folder = os.path.dirname(file) if hasattr(module, "__path__") else ""
        if place == file or (folder and place.startswith(os.path.realpath(folder) + os.sep)):
            return True
        if os.path.basename(file) == os.path.basename(place) and os.path.samestat(os.stat(file), there):
            return True
    return False


# --- writing ---------------------------------------------------------------------------------------------------------


def _why(error: OSError) -> str:
    return error.strerror or str(error)


def _lay_beside(output: Output, place: str) -> str:
    """The text in a new file beside its place, with the mode and owner of what stands there. Raises OSError."""
    import tempfile

    try:
        handle, beside = tempfile.mkstemp(dir=os.path.dirname(place), prefix=f".{os.path.basename(place)[:200]}.")
    except OSError as error:
        raise OSError(error.errno, error.strerror, output.path) from None
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
            stream.write(output.text)
            stream.flush()
            _like_before(output, place, handle)
    except OSError as error:
        os.unlink(beside)
        raise OSError(error.errno, error.strerror, output.path) from None
    except BaseException:
        os.unlink(beside)
        raise
    return beside


def _like_before(output: Output, place: str, handle: int) -> None:
    try:
        before = os.stat(place)
    except FileNotFoundError:
        mode = 0o666 & ~_umask()
    else:
        mode = stat.S_IMODE(before.st_mode) & 0o777
        if (before.st_uid, before.st_gid) != (os.geteuid(), os.getegid()) and os.geteuid() == 0:
            os.fchown(handle, before.st_uid, before.st_gid)
        os.fsync(handle)
    if output.executable:
        mode |= (mode & 0o444) >> 2
    os.fchmod(handle, mode & (0o700 if output.private else 0o777))


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _write_through(output: Output) -> None:
    """Into a device, a pipe or an open stream: as it is, nothing is replaced."""
    number = _descriptor(output.path)
    try:
        handle = os.open(output.path, os.O_WRONLY | os.O_NOCTTY) if number is None else os.dup(number)
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
            stream.write(output.text)
    except BrokenPipeError:
        raise
    except OSError as error:
        raise Refused([f"{output.path}: {_why(error)}; not all of it was written"]) from None
