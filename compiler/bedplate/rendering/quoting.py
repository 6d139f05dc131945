"""All quoting for the shell. Enters: words, contents and plain text. Leaves: POSIX sh text that means exactly that.

Every user string of a script or of a command shown to a person passes through `quote`; text for comments and messages
passes through `visible` as well, so that no control character reaches a terminal.
"""

from __future__ import annotations

import re
import shlex
import textwrap
from collections.abc import Iterable

from bedplate import faults
from bedplate.actions import (
    TARGET,
    Argv,
    Coding,
    Content,
    Disk,
    Gathered,
    InTarget,
    Joined,
    Plain,
    SecretRef,
    Where,
    Word,
)
from bedplate.faults import reject, shown

_ODD = re.compile(r"[^a-z0-9]+")


def quote(text: str) -> str:
    """`text` as one literal shell word (dash(1), QUOTING). Raises Rejected for a NUL: no shell word can hold it."""
    if "\0" in text:
        raise reject("nul-in-text", "a NUL character cannot stand in a command or a file", found=shown(text))
    return shlex.quote(text)


def visible(text: str) -> str:
    """`text` on one line, safe on any terminal: whatever cannot be printed becomes `\\uXXXX`, a line end a blank."""
    return faults.visible(text.replace("\r\n", " ").replace("\n", " "))


def hides(text: str) -> bool:
    """Whether something in the text does not show as what it is; tabs and line ends do."""
    return faults.visible(text, keep="\t\n") != text


def message(text: str) -> str:
    """A text for people as one literal shell word."""
    return quote(visible(text))


def word(item: Word, where: Where = Where.LIVE) -> str:
    """One word of a vector in the script. `$DISK` and `$TARGET` are the only expansions."""
    if isinstance(item, Joined):
        return "".join(_plain(part, where) for part in item.parts) or "''"
    return _plain(item, where)


def vector(argv: Argv, where: Where = Where.LIVE) -> str:
    """A whole argument vector in the script, words separated by blanks."""
    return " ".join(word(item, where) for item in argv)


def _plain(item: Plain, where: Where) -> str:
    if isinstance(item, Disk):
        return '"$DISK"'
    if isinstance(item, InTarget):
        return quote(item.path) if where is Where.TARGET else '"$TARGET"' + quote(item.path)
    if isinstance(item, Gathered):
        raise reject("not-gathered", f"names of the kind {item.kind!r} were never gathered into this action")
    return quote(item)


def by_hand(argv: Argv, where: Where = Where.LIVE) -> str:
    """A vector as a person types it: paths of the target in full."""
    return " ".join(_by_hand(item, where) for item in argv)


def _by_hand(item: Word, where: Where) -> str:
    if isinstance(item, Joined):
        return "".join(_by_hand(part, where) for part in item.parts) or "''"
    if isinstance(item, InTarget) and where is Where.LIVE:
        return typed(place(item))
    return typed(item) if isinstance(item, str) else _plain(item, where)


def typed(text: str) -> str:
    """`text` as one word that a person can type and a page can show: what does not show as octal escapes."""
    if not hides(text):
        return quote(text)
    return f"\"$(printf '%b' {escaped(text)})\""


def escaped(text: str) -> str:
    """`text` as one literal word for the `%b` of printf(1): backslashes and the bytes of what does not show escaped."""
    return quote("".join(_octal(sign) if hides(sign) else sign for sign in text.replace("\\", "\\\\")))


def _octal(sign: str) -> str:
    return "".join(f"\\0{byte:03o}" for byte in sign.encode())


def place(path: InTarget | str) -> str:
    """A path as seen from the live medium, for people."""
    if isinstance(path, str):
        return path
    return TARGET + path.path if path.path != "/" else TARGET


def printing(content: Content) -> list[str]:
    """Commands that print a content byte for byte, one a part."""
    return [_print(part) for part in content if part != ""]


def _print(part: str | SecretRef | Disk) -> str:
    if isinstance(part, SecretRef):
        verb = "secret_for_key_file" if part.coding is Coding.KEYFILE else "secret"
        return f"{verb} {quote(part.name)}"
    return f"printf '%s' {_plain(part, Where.LIVE)}"


def comment(text: str, width: int = 116) -> list[str]:
    """`text` as comment lines. A line that a lint tool would take for a directive is set off with a dash."""
    lines = textwrap.wrap(visible(text), width=width, break_long_words=False, break_on_hyphens=False)
    return ["# " + ("- " if line.startswith("shellcheck") else "") + line for line in lines]


def name(*parts: str | int) -> str:
    """A function or variable name from free text: lower-case letters, digits and underscores."""
    return "_".join(_ODD.sub("_", str(part).lower()).strip("_") for part in parts)


def indent(lines: Iterable[str], by: int = 1) -> list[str]:
    """Lines of a function's body. Only for lines that begin a command: text inside quotes is never touched."""
    return [" " * 4 * by + line for line in lines]
