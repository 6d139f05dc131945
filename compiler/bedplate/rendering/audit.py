"""The audit: a read-only POSIX sh script that proves an installed machine. Enters: an `InstallGraph`. Leaves: its text.

The proofs are those of the install script, rooted at `/`; actions that hold only for one run are left out.
"""

from __future__ import annotations

from bedplate.actions import Call, Check, Stage
from bedplate.functions import Library
from bedplate.install_graph import InstallGraph, Node
from bedplate.rendering import shell_operations
from bedplate.rendering.quoting import comment, indent, message, visible
from bedplate.rendering.script import BEGIN, END, LINT, environment, find_disk, function_suffix
from bedplate.rendering.shell_runtime import part

CARRIED_OUT = "It was carried out to the end, in the form that the spec has now"
"""What a stamp proves: only the script sets stamps, so a machine installed by hand has none."""


def render(graph: InstallGraph) -> str:
    """The whole audit script. Raises Rejected for text that no script can hold and for a verb that does not exist."""
    nodes = [node for node in graph.nodes if checks(node)]
    used = shell_operations.verbs(tuple(map(checks, nodes)))
    parts = [
        "#!/bin/sh",
        *comment(f"Proves that {graph.machine.name} is installed as its spec {graph.source} says. It only reads."),
        *comment(f"Digest: {graph.digest}"),
        "#",
        *LINT,
        *BEGIN,
        *environment(graph),
        "TARGET=''",
        "SCRATCH='/run /dev/shm /tmp'",
        "NEEDED_UID=0",
        f"TOTAL={len(graph.nodes)}",
        "DISK='' WORK='' IN='' LOG_OPEN='' LOG=''",
        "",
        *find_disk(graph),
        "",
        part("common"),
        part("audit"),
        graph.library.text(used | {"find-disk"}),
        *(line for node in nodes for line in _proofs(node, graph.library)),
        "prove_all() {",
        *indent(
            [f"prove {node.number} {function_suffix(node)} {message(node.action.title)}" for node in nodes] or [":"]
        ),
        "}",
        "",
        "# What no proof can see.",
        "for_a_person() {",
        *indent([f"say {message(f'  - {words}')}" for words in _open(graph)]),
        "}",
        *END,
    ]
    return "\n".join(parts) + "\n"


def checks(node: Node) -> tuple[Check, ...]:
    """What can be proved about an action on the installed machine, its stamp first, what only runs there last."""
    action = node.action
    if action.transient:
        return action.audits
    stamp = Call(verb="stamp-is", args=(action.id, node.digest))
    return (*((Check(says=CARRIED_OUT, test=stamp),) if action.stamped else ()), *action.proofs, *action.audits)


COLD_START = "Switch it off, wait until it is dark, start it again with every stick out, and run this audit once more"


def _open(graph: InstallGraph) -> list[str]:
    """What belongs to the first start and only a person can do, and the cold start that shows whether it lasts."""
    return [COLD_START, *(node.action.title for node in graph.stage(Stage.FIRST_BOOT))]


def _call(node: Node) -> str:
    return f"prove {node.number} {function_suffix(node)} {message(node.action.title)}"


def _proofs(node: Node, library: Library) -> list[str]:
    lines = [line for check in checks(node) for line in shell_operations.check(check, library, "")]
    return [
        *comment(visible(f"[{node.number}] {node.action.title}")),
        f"proof_{node.number}_{function_suffix(node)}() {{",
        *indent(lines),
        "}",
        "",
    ]
