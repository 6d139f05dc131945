"""Mutated specs: whatever a person (or a hostile one) does to a good spec, the answer is a graph or faults in words.

Each mutation follows from its number alone. `BEDPLATE_MUTATIONS=100000 pytest tests/test_mutations.py -n 2` is the
whole campaign; the tests run a small part of it.
"""

from __future__ import annotations

import os
import random
import tomllib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import tomli_w

from bedplate.compiling import pipeline
from bedplate.faults import Fault, Rejected, as_json, describe
from bedplate.loading import registry
from bedplate.reading.document import Document, read

ROOT = Path(__file__).parent.parent
CORPUS = ROOT / "tests" / "corpus"
GOOD = [*sorted((ROOT / "specs").glob("*-??.toml")), CORPUS / "whole.toml", CORPUS / "beside.toml"]
COUNT = int(os.environ.get("BEDPLATE_MUTATIONS", "600"))
CHUNKS = 20

HOSTILE = [
    "$(touch ran)",
    "`touch ran`",
    "'; touch ran; '",
    '"; touch ran; "',
    "a\nb",
    "a\x00b",
    "\x1b[2J",
    "-rf",
    "%s%n",
    "\\",
    "../../etc/passwd",
    "é" * 70,
    "x" * 5000,
    "",
    " ",
    "\u202e",
    "\ud7ff",
    "{{7*7}}",
    "#",
    "!",
    "*",
    "~",
    "a\tb",
    "a:b",
]
VALUES: list[Any] = [
    *HOSTILE,
    0,
    -1,
    1,
    2**31,
    2**63,
    10**40,
    1.5,
    float("inf"),
    float("nan"),
    True,
    False,
    [],
    {},
    [1],
    [[]],
    [{}],
    {"a": 1},
    ["x"],
    "56GiB",
    "25%",
    "rest",
    "99999999TiB",
    "1B",
    "0.1MiB",
    "192.0.2.1/24",
    "::1",
    "vfat",
    "swap",
    "/",
]


def contents(path: str) -> bytes:
    return Path(path).read_bytes()


@cache
def installed() -> registry.Registry:
    return registry.load()


@cache
def surveys(file: str) -> Document:
    return read(file, contents)


def answer(file: str, text: bytes) -> tuple[Fault, ...]:
    """The faults of a spec, warnings included; empty if it went through to a graph and every rendering."""
    try:
        document = read(file, lambda name: text if name == file else contents(name))
        checked = pipeline.check_spec(document, installed(), surveys)
        graph = pipeline.plan(checked, "spec.toml")
        for own in installed().renderers.values():
            pipeline.render(own, graph)
    except Rejected as rejected:
        assert rejected.faults
        return rejected.faults
    return checked.warnings


def must_be_in_words(faults: tuple[Fault, ...], about: str) -> None:
    for fault in faults:
        words = f"{about}: {fault!r}"
        assert fault.message.strip() and fault.code and fault.place and fault.place.file, words
        assert fault.place.line or fault.code in ("empty-file", "too-large", "no-such-file"), words
        assert all(line.isprintable() for line in describe(fault).split("\n")), words
        assert as_json(fault)["message"], words


# --- mutations of the text -------------------------------------------------------------------------------------------


def _at(chance: random.Random, text: bytes) -> int:
    return chance.randrange(len(text) + 1)


def drop_bytes(chance: random.Random, text: bytes) -> bytes:
    at = _at(chance, text)
    return text[:at] + text[at + chance.choice([1, 1, 3, 40, 400]) :]


def insert_bytes(chance: random.Random, text: bytes) -> bytes:
    at = _at(chance, text)
    signs = [b"\x00", b"\xff", b"\n", b'"', b"[", b"]", b"=", b"{", b"#", b"\xc3", b"."]
    return text[:at] + chance.choice(signs) + text[at:]


def drop_line(chance: random.Random, text: bytes) -> bytes:
    lines = text.split(b"\n")
    del lines[chance.randrange(len(lines))]
    return b"\n".join(lines)


def move_line(chance: random.Random, text: bytes) -> bytes:
    lines = text.split(b"\n")
    lines.insert(chance.randrange(len(lines)), chance.choice(lines))
    return b"\n".join(lines)


def flip_letter(chance: random.Random, text: bytes) -> bytes:
    at = chance.randrange(len(text))
    return text[:at] + bytes([chance.randrange(32, 127)]) + text[at + 1 :]


# --- mutations of the data -------------------------------------------------------------------------------------------


def _spots(value: Any) -> list[tuple[Any, Any]]:
    """Every (container, key) of the data."""
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    pairs = list(inside)
    return [(value, key) for key, _ in pairs] + [spot for _, item in pairs for spot in _spots(item)]


def replace_value(chance: random.Random, data: dict[str, Any]) -> None:
    container, key = chance.choice(_spots(data))
    container[key] = chance.choice(VALUES)


def replace_text(chance: random.Random, data: dict[str, Any]) -> None:
    container, key = chance.choice([(box, key) for box, key in _spots(data) if isinstance(box[key], str)])
    text = container[key]
    near = [text.upper(), text + "x", text[1:], text.replace("-", "_"), text + " ", " " + text, text * 30]
    container[key] = chance.choice(near + HOSTILE)


def remove(chance: random.Random, data: dict[str, Any]) -> None:
    container, key = chance.choice(_spots(data))
    del container[key]


def rename(chance: random.Random, data: dict[str, Any]) -> None:
    container, key = chance.choice([(box, key) for box, key in _spots(data) if isinstance(key, str)])
    container[chance.choice([key + "s", key[:-1], key.upper(), *HOSTILE])] = container.pop(key)


def repeat(chance: random.Random, data: dict[str, Any]) -> None:
    lists = [box[key] for box, key in _spots(data) if isinstance(box[key], list) and box[key]]
    chosen = chance.choice(lists)
    chosen.append(chance.choice(chosen))


def swap(chance: random.Random, data: dict[str, Any]) -> None:
    (one, here), (other, there) = chance.choice(_spots(data)), chance.choice(_spots(data))
    keep = tomllib.loads(tomli_w.dumps({"v": other[there]}))["v"]
    one[here] = keep


TEXT: list[Callable[[random.Random, bytes], bytes]] = [drop_bytes, insert_bytes, drop_line, move_line, flip_letter]
Change = Callable[[random.Random, dict[str, Any]], None]
DATA: list[Change] = [replace_value, replace_text, remove, rename, repeat, swap]


def mutated(number: int) -> tuple[str, bytes, str]:
    """File, spoiled text and what was done, from the number alone."""
    chance = random.Random(number)
    path = GOOD[number % len(GOOD)]
    text = path.read_bytes()
    done: list[str] = []
    for _ in range(chance.choice([1, 1, 1, 2, 5])):
        if chance.random() < 0.4 or done:
            mutate = chance.choice(TEXT)
            text = mutate(chance, text) if text else text
            done.append(mutate.__name__)
        else:
            data = dict(read(str(path), contents).data) if chance.random() < 0.5 else tomllib.loads(text.decode())
            data = tomllib.loads(tomli_w.dumps(data))
            data.pop("extends", None) if chance.random() < 0.3 else None
            change = chance.choice(DATA)
            change(chance, data)
            text = tomli_w.dumps(data).encode("utf-8", "replace")
            done.append(change.__name__)
    return str(path), text, f"mutation {number} of {path.name} ({', '.join(done)})"


# --- the campaign ----------------------------------------------------------------------------------------------------


def test_there_is_something_to_spoil() -> None:
    assert len(GOOD) >= 6
    for path in GOOD:
        assert not [fault for fault in answer(str(path), path.read_bytes()) if not fault.warning], path


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_a_spoiled_spec_gives_a_graph_or_faults_in_words(chunk: int) -> None:
    rejected = 0
    for number in range(chunk, COUNT, CHUNKS):
        file, text, about = mutated(number)
        try:
            faults = answer(file, text)
        except Exception as error:
            raise AssertionError(f"{about}: {error!r}") from error
        must_be_in_words(faults, about)
        rejected += any(not fault.warning for fault in faults)
    assert rejected > 0


def test_law_the_order_of_tables_changes_places_at_most() -> None:
    """Whatever the order of its tables, the same is wrong with a spec."""
    for path in GOOD:
        data = dict(read(str(path), contents).data)
        data.pop("extends", None)
        data["machine"] = {**data["machine"], "generation": 0, "architecture": "amd46"}
        data["other"] = {}
        forward, backward = tomli_w.dumps(data), tomli_w.dumps(dict(reversed(list(data.items()))))
        assert what(answer(str(path), forward.encode())) == what(answer(str(path), backward.encode()))


def what(faults: tuple[Fault, ...]) -> set[tuple[str, object]]:
    return {(fault.code, fault.path) for fault in faults}


def _texts(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    own = [path] if isinstance(value, str) else []
    return own + [found for part, item in inside for found in _texts(item, (*path, part))]


def _with(data: Any, path: tuple[Any, ...], value: Any) -> Any:
    if not path:
        return value
    copy = dict(data) if isinstance(data, dict) else list(data)
    copy[path[0]] = _with(copy[path[0]], path[1:], value)
    return copy


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.name)
@pytest.mark.parametrize("hostile", ["\n", "\x00", "\r", "\x1b", "\x7f"], ids=ascii)
def test_no_text_of_a_spec_may_hold_a_control_character(path: Path, hostile: str) -> None:
    """A line break or NUL in any text of any good spec is a fault at that text, in its first stage."""
    data = dict(read(str(path), contents).data)
    data.pop("extends", None)
    for place in _texts(data):
        spoiled = _with(data, place, "a" + hostile + "touch ran")
        faults = answer(str(path), tomli_w.dumps(spoiled).encode())
        assert place in {fault.path for fault in faults if not fault.warning}, place
        must_be_in_words(faults, f"{path.name} {place}")
