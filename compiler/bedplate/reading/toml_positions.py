"""Positions: where each key and value of a valid TOML text stands. Loaded only when a fault wants a place.

Enters: bytes that tomllib has accepted. Leaves: row and byte column, both from 0, of every key and value by path.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator

import tree_sitter_toml
from tree_sitter import Language, Node, Parser

from bedplate.faults import Path

Spot = tuple[tuple[int, int], tuple[int, int]]
"""Row and byte column of a key and of its value."""

_PARSER = Parser(Language(tree_sitter_toml.language()))
_KEYS = frozenset({"bare_key", "quoted_key", "dotted_key"})


def spots(source: bytes) -> dict[Path, Spot]:
    """The spot of each path. A table stands at its header, an element of an array at its value."""
    found: dict[Path, Spot] = {}
    counts: dict[Path, int] = {}
    for node in _PARSER.parse(source).root_node.named_children:
        if node.type == "pair":
            _note_pair(node, (), found)
        elif node.type in ("table", "table_array_element"):
            base = _note_header(node, found, counts)
            for pair in node.named_children:
                if pair.type == "pair":
                    _note_pair(pair, base, found)
    return found


def _note_header(node: Node, found: dict[Path, Spot], counts: dict[Path, int]) -> Path:
    """Notes a header and the tables it opens in passing; gives the path of what follows it."""
    path: Path = ()
    keys = list(_key_parts(next(child for child in node.named_children if child.type in _KEYS)))
    for number, part in enumerate(keys, 1):
        path, spot = (*path, _key(part)), (_point(part), _point(node))
        if number < len(keys):
            found.setdefault(path, spot)
            path = (*path, counts[path] - 1) if path in counts else path
        elif node.type == "table":
            found[path] = spot
        else:
            counts[path] = counts.get(path, 0) + 1
            found.setdefault(path, spot)
            path = (*path, counts[path] - 1)
            found[path] = spot
    return path


def _note_pair(pair: Node, base: Path, found: dict[Path, Spot]) -> None:
    """Notes a pair and all that lies in its value. Not recursive: valid TOML may lie deep."""
    stack = [(pair, base)]
    while stack:
        node, path = stack.pop()
        if node.type == "pair":
            key, value = node.named_children[:2]  # a comment may follow
            for part in _key_parts(key):
                path = (*path, _key(part))
                found.setdefault(path, (_point(part), _point(value)))
            stack.append((value, path))
        elif node.type == "inline_table":
            stack.extend((child, path) for child in node.named_children if child.type == "pair")
        elif node.type == "array":
            items = [child for child in node.named_children if child.type != "comment"]
            for index, item in enumerate(items):
                found[(*path, index)] = (_point(item), _point(item))
                stack.append((item, (*path, index)))


def _key_parts(node: Node) -> Iterator[Node]:
    """The single keys of a key, left to right; the grammar nests dotted keys to the left."""
    parts: list[Node] = []
    stack = [node]
    while stack:
        current = stack.pop()
        if current.type == "dotted_key":
            stack.extend(current.named_children)
        else:
            parts.append(current)
    return reversed(parts)


def _key(node: Node) -> str:
    text = (node.text or b"").decode("utf-8")
    return text if node.type == "bare_key" else next(iter(tomllib.loads(f"{text} = 0")))


def _point(node: Node) -> tuple[int, int]:
    return node.start_point.row, node.start_point.column
