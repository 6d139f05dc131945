"""The install script: POSIX sh, readable from top to bottom. Enters: an `InstallGraph`. Leaves: the script's text.

Constants first, then what the person is shown, the runtime, the verbs, one group of functions per action, the order.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from attrs import evolve

from bedplate.actions import NOTHING_TO_UNDO, Action, Check, Milestone, Secret
from bedplate.conditions import tool_present
from bedplate.facts import Layout
from bedplate.functions import Library
from bedplate.install_graph import ChangeGraph, InstallGraph, Node
from bedplate.rendering import action_flags, disk_map, overview, shell_operations
from bedplate.rendering.modes import mode
from bedplate.rendering.quoting import comment, indent, message, name, quote, visible
from bedplate.rendering.shell_runtime import part
from bedplate.rendering.stage_text import gathered, log_file
from bedplate.units import counted

LINT = (
    "# Functions are called by name from the list at the end; text in single quotes is meant as it stands; a verb may",
    "# read variables that only some scripts set, and take arguments that only some callers give.",
    "# shellcheck disable=SC1003,SC2016,SC2034,SC2119,SC2120,SC2317,SC2329",
)
"""What shellcheck cannot know about a script that is put together from a library."""

BEGIN = ("{ # All of it is one command: a copy that was cut off anywhere does nothing.", "")
END = ("", 'main "$@"', "exit", "}")
"""A shell reads a compound command to its end before it begins it (POSIX.1-2017, XCU 2.9.4)."""

_PARTS = ("common", "run", "secrets", "copies", "look", "install", "undo", "report")
"""Parts of the runtime, in order."""

_ALWAYS = (
    "find-disk",
    "gone-by-now",
    "leave",
    "partition-is-ours",
    "partition-shows",
    "put-stamp",
    "stamp-is",
    "tool-present",
    "write-file",
)
_OF_COPIES = ("copies-fit", "esp-look", "ours-in-table", "outside-places", "partition-node")
"""What the runtime's part `copies` calls by itself."""


def render(graph: InstallGraph) -> str:
    """The whole script. Raises Rejected for text that no script can hold and for a verb that does not exist."""
    used = shell_operations.verbs(tuple(evolve(node.action, audits=()) for node in graph.nodes)) | set(_ALWAYS)
    if _makes_copies(graph):
        used |= set(_OF_COPIES)
    parts = [
        *_head(graph),
        *_constants(graph),
        "",
        *_plan(graph),
        *_kept(graph),
        "",
        *find_disk(graph),
        "",
        *map(part, (*_PARTS, *mode(graph).runtime)),
        "# --- verbs: " + "-" * 106,
        "",
        graph.library.text(used),
        "# --- actions: " + "-" * 104,
        "",
        *(line for node in graph.nodes for line in _group(node, graph)),
        *_tools(graph),
        "",
        *_papers(graph),
        "",
        *_order(graph),
        *END,
    ]
    return "\n".join(parts) + "\n"


def _head(graph: InstallGraph) -> list[str]:
    purpose = mode(graph).purpose.format(machine=graph.machine.name, source=graph.source)
    about = (purpose, f"Digest: {graph.digest}")
    return [
        "#!/bin/sh",
        *(line for text in about for line in comment(text)),
        "#",
        *(line for text in overview.CAUTIONS for line in comment(f"Caution: {text}")),
        *(line for fault in graph.warnings for line in comment(f"Warning: {fault.message}")),
        "#",
        "# Try it first with --show: it prints what would be done and touches nothing.",
        "#",
        *LINT,
        *BEGIN,
    ]


def _constants(graph: InstallGraph) -> list[str]:
    layout = graph.fact(Layout)
    root = layout.mounted("/") if layout else None
    return [
        *environment(graph),
        f"TARGET={quote(mode(graph).root)}",
        f"LOG={log_file(graph)}",
        "LOCK=/run/bedplate.lock",
        "SCRATCH='/run /dev/shm /tmp'",
        "NEEDED_UID=0",
        f"ROOT_UUID={quote(root.fs_uuid if root else '')}",
        f"OUR_PARTITIONS={quote(' '.join(part.uuid for part in layout.partitions if part.new) if layout else '')}",
        *_copies(graph, layout),
        f"OUR_ROWS={quote(_rows(layout) if layout else '')}",
        f"TOTAL={len(graph.nodes)}",
        "",
        "# State of a run.",
        "DISK='' WORK='' IN='' LOG_OPEN='' CLOCK='' TERMINAL='' SAID='' ACTION='' ANSWER=''",
        "PROVED=' ' DONE='' INSIDE='' BEGUN='' CHANGED='' LAST_COMMAND='' LAST_STATUS='' NOW=0 BEGAN=0",
        "REACHING='' PEEKED='' EARLIER='' QUIET='' WORKED='' TOUCHED='' TICKING='' TABLE='' TABLE_READ=''",
        "COPIES='' COPIES_NODE='' COPIES_POINT='' COPIES_MINE='' NO_COPIES=''",
        "NOTED='' HELD='' PASSED=' ' OPENED='' RECORDED='' RECORDED_OTHERS='' BARE='' COPIES_SAY=''",
        "CARRIAGE_RETURN=$(printf '\\r')",
    ]


def _makes_copies(graph: InstallGraph) -> bool:
    return bool(graph.reaching(Milestone.COPIES_SAVED))


def _copies(graph: InstallGraph, layout: Layout | None) -> list[str]:
    """What copies of the state before are of; COPY_OF is empty where none are made."""
    copied = layout if _makes_copies(graph) else None
    esps = [part.uuid for part in copied.partitions if part.role == "esp" and not part.new] if copied else []
    return [
        f"COPY_OF={message(copied.disk_words if copied else '')}",
        f"OUR_TABLE={copied.table_id if copied and copied.whole_disk else '-'}",
        f"KEPT_ESPS={quote(' '.join(esps))}",
    ]


def _rows(layout: Layout) -> str:
    """Every new partition as the verb `planned-row` reads it: place, what lies on it, whether it is the root, name."""
    return "\n".join(
        " ".join(
            (
                part.uuid,
                str(part.start),
                str(part.size),
                part.type,
                "crypto_LUKS" if part.mapper else part.filesystem,
                part.luks_uuid if part.mapper else part.fs_uuid,
                "root" if part.mount == "/" else "-",
                part.gpt_name,
            )
        )
        for part in layout.partitions
        if part.new
    )


def environment(graph: InstallGraph) -> list[str]:
    """The first commands of any script: a known environment and who the script is for."""
    return [
        "set -u",
        "umask 022",
        "PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin",
        "LC_ALL=C",
        "NEW_LINE='",
        "'",
        "export PATH LC_ALL",
        "unset CDPATH ENV",
        "",
        f"MACHINE={quote(graph.machine.name)}",
        f"SPEC={message(graph.source)}",
        f"DIGEST={graph.digest}",
    ]


def find_disk(graph: InstallGraph) -> list[str]:
    """The function that prints the node of the spec's disk, found by its identity."""
    layout = graph.fact(Layout)
    if layout is None:
        return ["find_disk() { :; }"]
    size, sector = str(layout.size_bytes), str(layout.sector_size)
    words = " ".join(quote(text) for text in (layout.serial, layout.by_id, layout.model, size, sector))
    return ["find_disk() {", *indent([f"verb_find_disk {words}"]), "}"]


def _papers(graph: InstallGraph) -> list[str]:
    """The function that gives each of the files this comes from to a command, by name."""
    lines = [
        f"printf '%s' {quote(text.decode())} | \"$1\" {quote(name)} || return 1"
        for name, text in graph.source_files.items()
    ]
    return ["# The spec, what it extends, and the survey.", "papers() {", *indent(lines or [":"]), "}"]


def _plan(graph: InstallGraph) -> list[str]:
    says = (f"say {quote(line)}" for line in plan(graph))
    lines = ["# What the person is shown before anything is asked.", "print_plan() {", *indent(says), "}"]
    return lines if mode(graph).running else [*lines, "", *_last_look(graph)]


def _last_look(graph: InstallGraph) -> list[str]:
    """What stands right above the question for the machine's name: by then the plan has left the screen."""
    layout, fate = graph.fact(Layout), overview.fate(graph)
    says = []
    if layout is not None:
        says.append(f"say {quote(f'The disk that is written to: {visible(layout.disk_words)}')}")
        says.append('say "The live medium calls it $DISK."')
        if layout.whole_disk:
            says.append("say 'EVERYTHING ON IT IS LOST.'")
        elif fate and fate.lost:
            says += [f"say {quote(line)}" for line in ("ERASED for good:", *(f"  - {part}" for part in fate.lost))]
        else:
            says.append("say 'No partition of it is erased.'")
    return ["print_last_look() {", *indent(["say ''", *says] if says else [":"]), "}"]


def _kept(graph: InstallGraph) -> list[str]:
    """What is never touched, for the ways back and for reports."""
    fate = overview.fate(graph)
    parts = [f"    {part}" for part in fate.kept] if fate else []
    says = [f"say {quote(line)}" for line in ("Kept untouched:", *parts)] if parts else []
    return ["", "print_kept() {", *indent(says or [":"]), "}"]


def plan(graph: InstallGraph) -> list[str]:
    """What will happen, in words: the machine, the disk, what is erased, what is kept, cautions."""
    layout = graph.fact(Layout)
    if isinstance(graph, ChangeGraph):
        return _change_plan(graph)
    return [
        "",
        f"This installs {graph.machine.name}, as {visible(graph.source)} says ({counted(len(graph.nodes), 'action')}).",
        *(_disk_plan(graph, layout) if layout else ()),
        "",
        "Cautions:",
        *(f"  - {visible(caution.says)}" for caution in overview.cautions(graph)),
    ]


def _change_plan(graph: InstallGraph) -> list[str]:
    """The same for a change of the installed machine: what it does, and cautions."""
    return [
        "",
        f"This changes {graph.machine.name} from {visible(graph.source)} ({counted(len(graph.nodes), 'action')}):",
        *(f"  - {visible(node.action.title)}" for node in graph.nodes),
        "",
        "Cautions:",
        *(f"  - {visible(caution.says)}" for caution in overview.cautions(graph)),
    ]


def _disk_plan(graph: InstallGraph, layout: Layout) -> Iterator[str]:
    fate = overview.fate(graph)
    yield f"Disk: {visible(layout.disk_words)}"
    if layout.whole_disk:
        yield "THE WHOLE DISK IS TAKEN: everything on it is lost."
    for title, parts in (("ERASED for good:", fate.lost), ("Kept:", fate.kept)) if fate else ():
        if parts:
            yield from ("", title, *(f"  - {part}" for part in parts))
    for title, rows in (("The disk before:", disk_map.before(layout)), ("The disk after:", disk_map.after(layout))):
        if rows:
            yield from ("", title, *(f"  {row}" if row else "" for row in rows))


# --- one action --------------------------------------------------------------------------------------------------


def function_suffix(node: Node) -> str:
    """The common end of an action's function names, without its number."""
    return name(node.action.id)


def _group(node: Node, graph: InstallGraph) -> list[str]:
    action, library, tail = node.action, graph.library, f"{node.number}_{function_suffix(node)}"
    lines = [*comment(f"[{node.number}/{len(graph.nodes)}] {action.title} ({action.stage.value}, {action.id})")]
    lines += comment(f"Why: {action.reason}")
    if action.secrets:
        lines += _function(f"secrets_{tail}", [_ask(secret) for secret in action.secrets])
    if action.guards:
        lines += _function(f"guard_{tail}", _guards(action.guards, library))
    if action.touches:
        says = [f"touches {message(f'{touch.does.value} {touch.what}')}" for touch in action.touches]
        lines += _function(f"touches_{tail}", says)
    lines += _function(f"do_{tail}", [*_cautions(action), *shell_operations.operations(action.operations, library)])
    if action.peek:
        lines += _function(f"peek_{tail}", shell_operations.operations(action.peek, library))
    if action.proofs:
        proofs = [line for proof in action.proofs for line in shell_operations.check(proof, library)]
        lines += _function(f"proof_{tail}", proofs)
    if action.way_back != NOTHING_TO_UNDO:
        lines += _function(f"back_{tail}", _way_back(action, library))
    return [*lines, ""]


def _function(title: str, body: Iterable[str]) -> list[str]:
    return [f"{title}() {{", *indent(body), "}"]


def _cautions(action: Action) -> list[str]:
    names = [f"    Every {action.gathers}: {' '.join(gathered(action))}"] if gathered(action) else []
    return [f"say {message(text)}" for text in (*(f"    Caution: {text}" for text in action.cautions), *names)]


def _ask(secret: Secret) -> str:
    limits = f"{secret.min_length} {secret.max_length}"
    known = f"{quote(secret.name)} {message(secret.prompt)} {limits}"
    if secret.file:
        return f"read_secret {known} {quote(secret.file)} || return 1"
    return f"ask_secret {known} || return 1"


def _guards(guards: tuple[Check, ...], library: Library) -> list[str]:
    tried = [(check.early, shell_operations.check(check, library, " || r_bad=1")) for check in guards]
    early, late = ([line for when, lines in tried if when is one for line in lines] for one in (True, False))
    return ["r_bad=0", *early, '[ "$1" = now ] || return "$r_bad"', *late, 'return "$r_bad"']


def _way_back(action: Action, library: Library) -> list[str]:
    back = action.way_back
    note = back.note if back.possible else f"Cannot be undone. {back.note}"
    commands = shell_operations.operations(back.operations, library) if back.operations else []
    return [f"way_back {message(action.title)} {message(note)}", *commands]


# --- the list of all actions -------------------------------------------------------------------------------------


def _tools(graph: InstallGraph) -> list[str]:
    checks = (_tool(tool, graph) for tool in graph.tools)
    lines = [line for check in checks for line in shell_operations.check(check, graph.library, " || r_bad=1")]
    body = ["r_bad=0", *lines, 'return "$r_bad"']
    return ["# Commands that must be there.", *_function("guard_tools", body)]


def _tool(name: str, graph: InstallGraph) -> Check:
    own = mode(graph)
    return evolve(tool_present(name), says=own.tool.format(name=name), otherwise=own.no_tool.format(name=name))


def _order(graph: InstallGraph) -> list[str]:
    on_the_way, given = action_flags.way_to_target(graph), action_flags.tokens(graph)
    lines = [f'"$@" {_row(node, action_flags.flags(node, on_the_way, given))} || return 1' for node in graph.nodes] or [
        ":"
    ]
    return [
        "# Every action in order: number, name, stage, what it has, stamp, title.",
        *_function("for_each_action", lines),
        "",
        *_function("for_each_action_last_first", lines[::-1]),
    ]


def _row(node: Node, flags: Iterable[str]) -> str:
    action = node.action
    stamp = f"{action.id}={node.digest}" if action.stamped else ""
    return " ".join(
        (
            str(node.number),
            function_suffix(node),
            quote(action.stage.value),
            quote(",".join(flags)),
            quote(stamp),
            message(action.title),
        )
    )
