"""Frozen types as plain values: what the JSON rendering prints and what digests are taken of.

Enters: attrs values, enums, tuples, mappings, paths. Leaves: dicts, lists, strings, numbers.
"""

from __future__ import annotations

import enum
import hashlib
import json
import re
from collections.abc import Mapping
from functools import cache
from typing import Any, cast

import attrs

_HUMP = re.compile(r"(?<=[a-z0-9])(?=[A-Z])")


def serialize(value: object) -> Any:
    """`value` as plain data. An attrs value becomes a dict that begins with its `kind` (`write-file`)."""
    cls: Any = type(value)
    if cls is str or value is None or cls is bool or cls is int:
        return value
    if cls is tuple or cls is list:
        return [serialize(item) for item in cast("list[object]", value)]
    kind, names = _fields(cls)
    if kind:
        return {"kind": kind, **{name: serialize(getattr(value, name)) for name in names}}
    if isinstance(value, enum.Enum):
        return value.value
    if isinstance(value, Mapping):
        return {str(key): serialize(item) for key, item in value.items()}
    return value


@cache
def _fields(cls: Any) -> tuple[str, tuple[str, ...]]:
    """Kind and fields of an attrs class; of any other an empty text."""
    if not attrs.has(cls):
        return "", ()
    return _HUMP.sub("-", cls.__name__).lower(), tuple(one.name for one in attrs.fields(cls))


def digest(value: object) -> str:
    """SHA-256 (hexadecimal) over the canonical JSON text of `serialize(value)`."""
    text = json.dumps(serialize(value), sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()


_CRYPT = re.compile(r"\$(?:y|gy|7|2[aby]|6|5)\$[^\s\"'<>:]{20,}")
"""A password's hash, wherever it stands: the forms of crypt(5)."""


def without_hashes(text: str) -> str:
    """A text for people or other programs: it says that a hash stands there, not which."""
    return _CRYPT.sub("(hash of the password)", text)


def has_hashes(text: str) -> bool:
    """Whether a password's hash stands in the text."""
    return _CRYPT.search(text) is not None


def as_text(data: object) -> str:
    """Plain data as indented JSON, keys as they come; signs that do not show are escaped as RFC 8259, 7 does."""
    text = json.dumps(data, indent=2, ensure_ascii=False) + "\n"
    return "".join(sign if sign.isprintable() or sign == "\n" else json.dumps(sign)[1:-1] for sign in text)
