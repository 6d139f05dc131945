"""The install graph for other programs. Enters: an `InstallGraph`. Leaves: JSON text after `graph.json`, the schema.

Every value of `bedplate.actions` is an object that says its `kind`; bytes and sectors are whole numbers.
"""

from __future__ import annotations

from typing import Any

from bedplate.facts import Layout
from bedplate.faults import as_json
from bedplate.install_graph import InstallGraph, Node
from bedplate.serialize import as_text, serialize

FORMAT = 1
"""Version of the shape that the schema describes."""


def render(graph: InstallGraph) -> str:
    """The whole graph as indented JSON, keys in the order of the schema."""
    return as_text(document(graph))


def document(graph: InstallGraph) -> dict[str, Any]:
    """The graph as plain data."""
    return {
        "format": FORMAT,
        "spec": graph.source,
        "digest": graph.digest,
        "machine": serialize(graph.machine),
        "tools": list(graph.tools),
        "warnings": [as_json(fault) for fault in graph.warnings],
        "layout": serialize(graph.fact(Layout)),
        "actions": [_action(node) for node in graph.nodes],
    }


def _action(node: Node) -> dict[str, Any]:
    about: dict[str, Any] = {
        "number": node.number,
        "section": node.section,
        "origin": node.origin,
        "digest": node.digest,
        "after": [{"token": edge.token, "giver": edge.giver} for edge in node.after],
    }
    about.update(serialize(node.action))
    return about
