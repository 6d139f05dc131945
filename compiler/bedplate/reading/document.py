"""Reading: bytes of TOML become a `Document`: plain values that know where they were written.

Enters: a file name and a reader. Leaves: merged data and, for any path, its place. tomllib alone judges what is valid
TOML (version 1.0.0, https://toml.io/en/v1.0.0); tree-sitter is loaded only when somebody asks for a place.
"""

from __future__ import annotations

import posixpath
import re
import tomllib
from ast import literal_eval
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from typing import Any

from attrs import evolve, field, frozen

from bedplate.faults import Fault, Path, Place, Rejected, dotted, reject, shown, visible

LIMIT = 1 << 20
"""The longest file that is read, in bytes. A reader need not fetch more than `LIMIT + 1`."""

DEPTH = 32
"""How many tables and arrays may lie within one another."""

CHAIN = 16
"""How many files may extend one another in a row."""

CAPTURE_HEAD = "bedplate-capture "
"""How a capture begins: people take it for a survey."""

Reader = Callable[[str], bytes]
"""Gives the content of a file, `LIMIT + 1` bytes of it at most. Raises OSError, ValueError or Rejected."""


@frozen(kw_only=True, eq=False)
class Document:
    """One TOML file with everything it extends merged in. Made by `parse` and `read` only."""

    file: str
    """The name as the user gave it."""
    data: Mapping[str, Any]
    """Plain Python values. Parts may be shared between documents: never change them."""
    source: bytes = field(repr=False)
    origins: Mapping[Path, tuple[Document, Path]] = field(factory=dict, repr=False)
    """For values that were merged in: the document they come from and their path there."""
    under: tuple[Document, ...] = field(default=(), repr=False)
    """The documents it is laid over, everything that these extend included."""

    def source_files(self, *others: Document) -> dict[str, bytes]:
        """This file, all it extends and `others`, as they were read, by their names as seen from this file's folder.

        A name that would lead out of that folder is cut to what lies below.
        """
        folder = posixpath.dirname(self.file) or "."
        files = (self, *self.under, *others)
        return {re.sub(r"^(\.\./)+", "", posixpath.relpath(one.file, folder)): one.source for one in files}

    def place(self, path: Path, *, key: bool = False) -> Place:
        """Where the value at `path` (or, with `key`, its key) was written; its nearest existing ancestor if missing."""
        owner, inner = self._origin(path)
        if owner is not self:
            return owner.place(inner, key=key)
        spots, lines = _spots(self.source)
        while inner and inner not in spots:
            inner, key = inner[:-1], False
        row, column = spots[inner][0 if key else 1] if inner else (0, 0)
        return Place(file=self.file, line=row + 1, column=len(lines[row][:column].decode("utf-8", "replace")) + 1)

    def beside(self, path: Path, name: str) -> str:
        """The file `name`, written at `path`, as seen from where the program runs."""
        owner, inner = self._origin(path)
        return beside(self.file, name) if owner is self else owner.beside(inner, name)

    def _origin(self, path: Path) -> tuple[Document, Path]:
        for length in range(len(path), -1, -1):
            if path[:length] in self.origins:
                owner, start = self.origins[path[:length]]
                return owner, start + path[length:]
        return self, path


def beside(file: str, name: str) -> str:
    """The file `name` as the file `file` names it: relative names start in the folder of `file`."""
    return posixpath.join(posixpath.dirname(file), name)


# --- one file ----------------------------------------------------------------------------------------------------


def parse(file: str, source: bytes) -> Document:
    """The document of one file, without what it extends. Raises Rejected with the one fault that stops reading."""
    text = _decoded(file, source)
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise _too_deep(_deepest(file, text)) from None
    except ValueError as error:
        raise _bad_toml(file, text, error) from None
    document = Document(file=file, data=data, source=source)
    deep = next((path for path in _paths(data) if len(path) > DEPTH), None)
    if deep is not None:
        raise _too_deep(document.place(deep, key=True))
    return document


def _rejected(code: str, message: str, place: Place, **fields: object) -> Rejected:
    return reject(code, message, place=place, **fields)


def _too_deep(place: Place) -> Rejected:
    allowed = f"at most {DEPTH} tables and arrays within one another"
    return _rejected("too-deep", "tables and arrays lie too deep within one another here", place, allowed=allowed)


def _decoded(file: str, source: bytes) -> str:
    allowed = "UTF-8 without a byte order mark"
    if source[:2] in (b"\xff\xfe", b"\xfe\xff") or source[:3] == b"\xef\xbb\xbf":
        message = "the file begins with a byte order mark; save it again as plain UTF-8"
        raise _rejected("bad-encoding", message, Place(file=file, line=1, column=1), allowed=allowed)
    try:
        return source.decode("utf-8")
    except UnicodeDecodeError as error:
        before = source[: error.start].decode("utf-8")
        line, column = before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1
        place = Place(file=file, line=line, column=column)
        found = f"the byte 0x{source[error.start]:02X}"
        raise _rejected("bad-encoding", "this byte is not UTF-8", place, found=found, allowed=allowed) from None


_AT = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


def _bad_toml(file: str, text: str, error: ValueError) -> Rejected:
    """tomllib puts the place at the end of its sentence; int() refuses very long numbers without telling where."""
    lines = text.replace("\r\n", "\n").split("\n")
    sentence, line, column = str(error), len(lines), len(lines[-1]) + 1
    match, number = _AT.search(sentence), re.search(r"[0-9_]{4000,}", text)
    if match is None and number is not None:
        before = text[: number.start()]
        sentence = "number with too many digits"
        line, column = before.count("\n") + 1, number.start() - before.rfind("\n")
    elif match is not None:
        sentence = sentence[: match.start()]
        line, column = (int(match[1]), int(match[2])) if match[1] else (line, column)
    place = Place(file=file, line=line, column=column)
    if text.startswith(CAPTURE_HEAD):
        message = "this is a capture; make a survey of it first: bedplate survey --from CAPTURE --out SURVEY"
        return _rejected("capture-given", message, Place(file=file, line=1, column=1), allowed="a spec or a survey")
    # A file that does not call itself TOML may be anything, a list of passwords too: nothing of it is shown.
    found = shown(lines[min(line, len(lines)) - 1].strip()) if file.endswith(".toml") else None
    return _rejected("bad-toml", f"this is not valid TOML: {_reworded(sentence)}", place, found=found)


def _reworded(sentence: str) -> str:
    """tomllib's sentence without the marks of Python in it."""
    sentence = re.sub(r"\('.*'\)|\('.*',\)", lambda match: dotted(literal_eval(match[0])), sentence)
    if sentence == r"Illegal character '\n'":
        return "the quotes are not closed on this line"
    return _lowered(sentence)


def _lowered(sentence: str) -> str:
    sentence = visible(sentence)
    return sentence[:1].lower() + sentence[1:]


def _deepest(file: str, text: str) -> Place:
    """Where brackets first lie deeper than allowed; strings are not told apart, the line is what matters."""
    depth, line, start = 0, 1, 0
    for index, character in enumerate(text):
        if character == "\n":
            line, start = line + 1, index + 1
        depth += (character in "[{") - (character in "]}")
        if depth > DEPTH:
            return Place(file=file, line=line, column=index - start + 1)
    return Place(file=file)


def _paths(data: Mapping[str, Any]) -> Iterator[Path]:
    """Paths of all tables and arrays. Not recursive: depth is what it is used to find out."""
    stack: list[tuple[Path, Any]] = [((), data)]
    while stack:
        path, value = stack.pop()
        yield path
        if len(path) <= DEPTH:
            inside = value.items() if isinstance(value, dict) else enumerate(value)
            stack.extend(((*path, part), item) for part, item in inside if isinstance(item, (dict, list)))


# --- a file and all it extends -----------------------------------------------------------------------------------

_parse_shared = lru_cache(maxsize=64)(parse)
"""Many specs extend the same few files."""


def read(file: str, reader: Reader) -> Document:
    """The document of `file` with everything it extends. Raises Rejected with what stops reading."""
    document = parse(file, _content(file, reader))
    if not document.data:
        raise _rejected("empty-file", "the file holds no table and no value", Place(file=file))
    return _extended(document, reader, (file,)) if "extends" in document.data else document


def _content(file: str, reader: Reader) -> bytes:
    place = Place(file=file)
    try:
        content = reader(file)
    except FileNotFoundError:
        raise _rejected("no-such-file", "there is no such file", place) from None
    except IsADirectoryError:
        raise _rejected("not-a-file", "this is a folder, not a file", place) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error) or type(error).__name__
        raise _rejected("unreadable-file", f"the file cannot be read: {_lowered(why)}", place) from None
    if len(content) > LIMIT:
        message, allowed = "the file is larger than a spec or survey can be", f"at most {LIMIT} bytes (1 MiB)"
        raise _rejected("too-large", message, place, allowed=allowed)
    return content


def _extended(document: Document, reader: Reader, chain: tuple[str, ...]) -> Document:
    """`document` laid over the files it names; of several, a later one is laid over the earlier ones."""
    merged: Document | None = None
    faults: list[Fault] = []
    for path, name in _names(document):
        try:
            base = _base(document, path, name, reader, chain)
        except Rejected as rejected:
            faults.extend(rejected.faults)
            continue
        merged = base if merged is None else _laid_over(base, merged)
    if faults:
        raise Rejected(faults)
    return document if merged is None else _laid_over(document, merged)


def _names(document: Document) -> list[tuple[Path, str]]:
    value = document.data["extends"]
    names: list[tuple[Path, Any]] = [(("extends",), value)]
    if isinstance(value, list):
        names = [(("extends", index), name) for index, name in enumerate(value)]
    for path, name in names:
        if not isinstance(name, str) or not name:
            message, allowed = "this does not name a file", 'a file name, or an array of file names: "common.toml"'
            raise _rejected("bad-extends", message, document.place(path), path=path, allowed=allowed)
    return names


def _base(document: Document, path: Path, name: str, reader: Reader, chain: tuple[str, ...]) -> Document:
    file = beside(document.file, name)
    if posixpath.normpath(file) in map(posixpath.normpath, chain):
        loop = " -> ".join(shown(link) for link in (*chain, file))
        message = "this file extends itself, directly or through others"
        raise _rejected("extends-loop", message, document.place(path), path=path, found=shown(name), notes=(loop,))
    if len(chain) >= CHAIN:
        message, allowed = "too many files extend one another here", f"at most {CHAIN} files in a row"
        raise _rejected("too-deep", message, document.place(path), path=path, allowed=allowed)
    try:
        source = _content(file, reader)
    except Rejected as rejected:
        place = document.place(path)
        faults = (evolve(fault, place=place, path=path, found=shown(name)) for fault in rejected.faults)
        raise Rejected(faults) from None
    base = _parse_shared(file, source)
    return _extended(base, reader, (*chain, file)) if "extends" in base.data else base


def _laid_over(over: Document, under: Document) -> Document:
    """Tables merge deep, arrays of tables by `name`, other values of `over` replace. `under` is not changed."""
    origins: dict[Path, tuple[Document, Path]] = {}
    data = _merged((over, over.data, ()), (under, under.data, ()), (), origins)
    below = (*over.under, under, *under.under)
    return Document(file=over.file, data=data, source=over.source, origins=origins, under=below)


_Part = tuple[Document, Any, Path]
"""A value, the document that holds it, and its path there."""


def _merged(over: _Part, under: _Part, path: Path, origins: dict[Path, tuple[Document, Path]]) -> Any:
    (upper, above, up), (lower, below, down) = over, under
    origins[path] = (upper, up)
    if isinstance(above, dict) and isinstance(below, dict):
        table: dict[str, Any] = {}
        for key in above | below:
            here, parts = (*path, key), ((upper, above, up), (lower, below, down))
            table[key] = _picked([(d, v[key], (*p, key)) for d, v, p in parts if key in v], here, origins)
        return table
    if not (_named(above) and _named(below)):
        return above
    names = {item["name"]: i for i, item in reversed(list(enumerate(above)))}
    rows = [[(lower, item, (*down, i))] for i, item in enumerate(below)]
    for row in rows:
        if (found := names.pop(row[0][1]["name"], None)) is not None:
            row.insert(0, (upper, above[found], (*up, found)))
    taken = {row[0][2] for row in rows if len(row) == 2}
    rows += [[(upper, item, (*up, i))] for i, item in enumerate(above) if (*up, i) not in taken]
    return [_picked(row, (*path, i), origins) for i, row in enumerate(rows)]


def _picked(parts: list[_Part], path: Path, origins: dict[Path, tuple[Document, Path]]) -> Any:
    if len(parts) == 2:
        return _merged(parts[0], parts[1], path, origins)
    document, value, origin = parts[0]
    origins[path] = (document, origin)
    return value


def _named(value: Any) -> bool:
    """Whether `value` is an array of tables that all have a name. An empty array is none: it replaces."""
    if not isinstance(value, list) or not value:
        return False
    return all(isinstance(item, dict) and isinstance(item.get("name"), str) for item in value)


# --- positions ---------------------------------------------------------------------------------------------------


@lru_cache(maxsize=16)
def _spots(source: bytes) -> tuple[Mapping[Path, tuple[tuple[int, int], tuple[int, int]]], list[bytes]]:
    """The positions of a text, and its lines. What finds them is loaded here: a spec without faults never pays."""
    from bedplate.reading.toml_positions import spots

    return spots(source), source.split(b"\n")
