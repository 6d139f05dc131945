"""The install graph as a picture. Enters: an `InstallGraph`. Leaves: text in the DOT language, one cluster a stage.

An edge goes from the action that gives to the one that needs; its tooltip names the tokens.
"""

from __future__ import annotations

import textwrap

from bedplate.actions import Stage
from bedplate.install_graph import InstallGraph, Node
from bedplate.rendering.quoting import name, visible

_LINE = 28


def render(graph: InstallGraph) -> str:
    """The whole graph in the DOT language (graphviz.org, The DOT Language)."""
    lines = [
        f"// bedplate install graph of {visible(graph.machine.name)}",
        f"digraph {quote(graph.machine.name)} {{",
        f"    label={quote(f'{graph.machine.name}: {graph.source}')};",
        '    rankdir="TB"; fontname="sans-serif"; labelloc="t";',
        '    node [shape="box", fontname="sans-serif", fontsize="10"];',
        '    edge [color="#606060"];',
    ]
    for stage in Stage:
        if nodes := graph.stage(stage):
            lines.append(f"    subgraph {quote('cluster_' + name(stage.value))} {{")
            lines += [f"        label={quote(stage.value)};", *(f"        {_node(node)}" for node in nodes), "    }"]
    numbers = {node.action.id: node.number for node in graph.nodes}
    lines += [f"    {edge}" for node in graph.nodes for edge in _edges(node, numbers)]
    return "\n".join([*lines, "}"]) + "\n"


def quote(text: str) -> str:
    """`text` as a double-quoted DOT string that shows exactly that: no escape and no record or HTML syntax in it."""
    return '"' + visible(text).replace("\\", "\\\\").replace('"', '\\"') + '"'


def _node(node: Node) -> str:
    words = textwrap.wrap(visible(f"{node.number}  {node.action.title}"), _LINE)
    label = "\\n".join(quote(line)[1:-1] for line in words)
    tooltip = quote(f"{node.action.id}: {node.action.reason}{_why(node)}")
    style = "" if node.action.changes else ', style="dashed"'
    return f'n{node.number} [label="{label}", tooltip={tooltip}{style}];'


def _why(node: Node) -> str:
    after = [f"{edge.token} from {edge.giver}" for edge in node.after]
    return f" Stands here because it needs {', '.join(after)}." if after else ""


def _edges(node: Node, numbers: dict[str, int]) -> list[str]:
    tokens: dict[int, list[str]] = {}
    for edge in node.after:
        tokens.setdefault(numbers[edge.giver], []).append(edge.token)
    return [
        f"n{giver} -> n{node.number} [tooltip={quote(', '.join(given))}];" for giver, given in sorted(tokens.items())
    ]
