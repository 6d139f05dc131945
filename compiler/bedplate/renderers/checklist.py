"""The checklist: the work as a form for a person at the bench. Enters: an `InstallGraph`. Leaves: Markdown.

What the machine will be, what is lost and kept, cautions, what to have at hand, then the stages, action by action.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping

from bedplate.actions import NOTHING_TO_UNDO, Action, ByHand, Check, Operation, Stage
from bedplate.facts import Family, HostName, Layout, People
from bedplate.graph import InstallGraph, Node
from bedplate.renderers import byhand, diskmap
from bedplate.renderers.markdown import code, fenced, text
from bedplate.renderers.script import CAUTIONS, capital, gathered
from bedplate.units import in_gib

_PLACES: Mapping[Stage, tuple[str, str]] = {
    Stage.OTHER_SYSTEM: ("In the other system", "Start the machine as usual and do this in the system that is there."),
    Stage.FIRMWARE: ("In the firmware", "Do this in the firmware's setup and its boot menu."),
    Stage.LIVE: ("On the live medium", "Do this as root on the live medium."),
    Stage.TARGET: ("In the new system, from the live medium", "Still on the live medium, as root."),
    Stage.FIRST_BOOT: ("At the first start", "Do this when the machine starts without the live medium."),
}


def render(graph: InstallGraph) -> str:
    """The whole checklist."""
    lines = [
        f"# {text(graph.machine.name)}: installation checklist",
        "",
        f"Made from the spec {code(graph.spec_file)}; digest {code(graph.digest[:16])}.",
        "",
        *_machine(graph),
        *_disk(graph),
        *_cautions(graph),
        *_at_hand(graph),
    ]
    for number, stage in enumerate(Stage, 1):
        lines += _stage(graph, number, stage)
    return "\n".join(lines).rstrip("\n") + "\n"


# --- before the work ---------------------------------------------------------------------------------------------


def _machine(graph: InstallGraph) -> list[str]:
    return ["## What this machine will be", "", " ".join(_about(graph)), ""]


def _about(graph: InstallGraph) -> Iterator[str]:
    machine, layout, family = graph.machine, graph.fact(Layout), graph.fact(Family)
    host, people = graph.fact(HostName), graph.fact(People)
    yield f"**{text(machine.name)}** ({text(machine.architecture)}, {text(machine.firmware.upper())})"
    yield f"gets a Linux system of the package family {text(family.name)}" if family else "gets a Linux system"
    if layout:
        yield f"on the disk {text(layout.disk_words)},"
        yield _beside(layout)
    else:
        yield "as planned below."
    if host:
        yield f"Its host name will be {code('.'.join(part for part in (host.host, host.domain) if part))}."
    if people:
        yield _people(people)
    if machine.notes:
        yield f"Notes: {text(machine.notes)}"


def _beside(layout: Layout) -> str:
    if layout.whole_disk:
        return "and takes the whole disk."
    if layout.other_systems:
        return f"beside the other system on {', '.join(code(name) for name in layout.other_systems)}."
    return "beside what is kept there."


def _people(people: People) -> str:
    named = [code(one.name) + (" (administrator)" if one.administrator else "") for one in people.persons]
    who = f"Who can log in: {', '.join(named)}." if named else "No person has an account of their own."
    return f"{who} The root account: {text(people.root)}."


def _disk(graph: InstallGraph) -> list[str]:
    layout = graph.fact(Layout)
    if layout is None:
        return []
    lines = ["## What is erased and what is kept", ""]
    if layout.whole_disk:
        lines += [f"**The whole disk is taken: everything on {text(layout.disk_words)} is lost.**", ""]
    fate = (("**Erased for good:**", diskmap.lost(layout)), ("Kept untouched:", diskmap.kept(layout)))
    for title, parts in fate:
        if parts:
            lines += [title, "", *(f"- {text(diskmap.words(part, layout.sector_size))}" for part in parts), ""]
    if not diskmap.lost(layout) and not layout.whole_disk:
        lines += ["No partition is erased.", ""]
    for title, rows in (("The disk before:", diskmap.before(layout)), ("The disk after:", diskmap.after(layout))):
        if rows:
            lines += [title, "", *fenced(rows, "text"), ""]
    unit = f"Sectors of {layout.sector_size} bytes; the disk has {in_gib(layout.size_bytes)}."
    return [*lines, unit, ""]


def _cautions(graph: InstallGraph) -> list[str]:
    own = (caution for node in graph.nodes for caution in node.action.cautions)
    warnings = (f"{capital(fault.message)}. {' '.join(fault.notes)}" for fault in graph.warnings)
    every = dict.fromkeys((*CAUTIONS, *warnings, *own))
    return ["## Cautions", "", *(f"- {text(caution)}" for caution in every), ""]


def _at_hand(graph: InstallGraph) -> list[str]:
    lines = ["- This checklist, on paper or on another machine.", "- The live medium."]
    if graph.tools:
        lines.append(f"- On the live medium, the commands {', '.join(code(tool) for tool in graph.tools)}.")
    for secret in graph.secrets:
        where = f"in the file {code(secret.file)} of the medium" if secret.file else "asked for before the first write"
        limits = f"{secret.min_length} to {secret.max_length} printable ASCII characters"
        lines.append(f"- A secret: {text(secret.prompt)} ({where}; {limits}).")
    return ["## What to have at hand", "", *lines, ""]


# --- the stages --------------------------------------------------------------------------------------------------


def _stage(graph: InstallGraph, number: int, stage: Stage) -> list[str]:
    nodes = graph.stage(stage)
    title, where = _PLACES[stage]
    if not nodes:
        return [f"## Stage {number}: {title}", "", "Nothing to do here.", ""]
    prompts = {secret.name: secret.prompt for secret in graph.secrets}
    lines = [f"## Stage {number}: {title}", "", where, *_script_words(stage, nodes), ""]
    if stage is Stage.LIVE:
        lines += _disk_variable(graph)
    return [*lines, *(line for node in nodes for line in _action(node, prompts))]


def _script_words(stage: Stage, nodes: tuple[Node, ...]) -> list[str]:
    if stage not in (Stage.LIVE, Stage.TARGET):
        return []
    first, last = nodes[0].number, nodes[-1].number
    return ["", f"The script does {first} to {last} by itself; here they stand to follow along, or to do by hand."]


def _disk_variable(graph: InstallGraph) -> list[str]:
    layout = graph.fact(Layout)
    if layout is None or not any(byhand.needs_disk(node.action.operations) for node in graph.nodes):
        return []
    known = f"the serial number {code(layout.serial)}" if layout.serial else text(layout.disk_words)
    return [
        f"By hand, first find the node of the disk: the line with {known} and {layout.size_bytes} bytes. The name of"
        " a disk can be another one after every start: look each time.",
        "",
        *fenced(["lsblk -dnbpo NAME,SIZE,LOG-SEC,MODEL,SERIAL", "DISK=/dev/...   # the name found in that line"]),
        "",
    ]


def _action(node: Node, prompts: Mapping[str, str]) -> list[str]:
    action = node.action
    blocks = [
        [f"- [ ] **{node.number}. {text(action.title)}**"],
        [f"Why: {text(action.reason)}"],
        *([f"**Caution:** {text(caution)}"] for caution in action.cautions),
        *_guards(action.guards),
        *_gathered(action),
        *_work(action.operations, prompts),
        *([f"Expected: {text(action.expected)}"] if action.expected else [],),
        *([f"If it goes wrong: {text(action.trouble)}"] if action.trouble else [],),
        *_proofs("How to know it worked:", action.proofs),
        *_proofs("On the running machine, in the end:", action.audits),
        *_way_back(action, prompts),
    ]
    return [line for block in blocks if block for line in (*block, "")]


def _guards(guards: tuple[Check, ...]) -> Iterator[list[str]]:
    if guards:
        yield ["Only begin if:"]
        yield [f"- {text(check.says)}{_otherwise(check)}" for check in guards]


def _gathered(action: Action) -> Iterator[list[str]]:
    if names := gathered(action):
        yield [f"Every {text(action.gathers)} that this machine needs ({len(names)}):"]
        yield fenced(textwrap.wrap(" ".join(names), 110, break_on_hyphens=False), "text")


def _otherwise(check: Check) -> str:
    return f" (if not: {text(check.otherwise)})" if check.otherwise else ""


def _work(operations: Iterable[Operation], prompts: Mapping[str, str]) -> Iterator[list[str]]:
    """Commands that follow one another share a block; a text for a person stands between."""
    pending: list[str] = []
    for item in operations:
        if isinstance(item, ByHand):
            yield fenced(pending) if pending else []
            pending = []
            yield [text(item.text)]
            yield fenced(item.commands, "text") if item.commands else []
            continue
        pending += byhand.commands(item, prompts)
    yield fenced(pending) if pending else []


def _proofs(title: str, proofs: tuple[Check, ...]) -> Iterator[list[str]]:
    if not proofs:
        return
    yield [title]
    yield [f"- {text(check.says)}" for check in proofs]
    looking = list(dict.fromkeys(line for check in proofs for line in byhand.looking(check.test)))
    yield fenced(looking) if looking else []


def _way_back(action: Action, prompts: Mapping[str, str]) -> Iterator[list[str]]:
    back = action.way_back
    if back == NOTHING_TO_UNDO:
        return
    yield [f"Way back: {'' if back.possible else '**cannot be undone.** '}{text(back.note)}"]
    yield from _work(back.operations, prompts)
