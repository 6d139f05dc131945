"""What a person is told about the stages, action by action. Enters: an `InstallGraph`. Leaves: words, no markup.

Checklist and page are two forms of these values; every sentence they share is made here or in `overview`.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator, Mapping

from attrs import frozen

from bedplate.actions import NOTHING_TO_UNDO, Action, ByHand, Check, Operation, Stage, WayBack
from bedplate.facts import Layout
from bedplate.install_graph import ChangeGraph, InstallGraph, Node
from bedplate.rendering import manual_checks, manual_commands, shell_helpers
from bedplate.rendering.modes import mode
from bedplate.rendering.quoting import name

_FULL = 2000
"""Characters of checks that fill a page of A4 with everything else about an action (from printing it)."""
HOW_TO_ASK = "a command prints a line if it holds, and nothing if not"
SCRIPT_ALONE = "the script looks at this; by hand it shows only in the work"
BY_SCRIPT = (Stage.LIVE, Stage.TARGET)
"""Stages that the script can do."""


# --- pieces of text ----------------------------------------------------------------------------------------------


@frozen
class Said:
    """Words."""

    text: str


@frozen
class Code:
    """Words to be typed or recognised exactly."""

    text: str


@frozen
class Loud:
    """Words that must not be missed."""

    text: str


Line = tuple[Said | Code | Loud, ...]
"""One paragraph."""


@frozen(kw_only=True)
class Commands:
    """Lines to type, one command or more; `shell` false: not for a POSIX shell, or only names."""

    lines: tuple[str, ...]
    shell: bool = True


Passage = Line | Commands


_EXACT = re.compile(r"`([^`\n]+)`|(?<!\S)([^\s\\]*\\\S*[^\s.,;:)])")
"""Words to be typed or recognised exactly: between backquotes, or a word with a backslash (a path of the firmware)."""


def prose(words: str) -> Line:
    """A sentence in pieces, its commands and paths apart."""
    pieces: list[Said | Code | Loud] = []
    at = 0
    for match in _EXACT.finditer(words):
        pieces += [Said(words[at : match.start()])] if match.start() > at else []
        pieces.append(Code(match[1] or match[2]))
        at = match.end()
    return (*pieces, Said(words[at:])) if at < len(words) or not pieces else tuple(pieces)


# --- actions and stages ------------------------------------------------------------------------------------------


@frozen(kw_only=True)
class Asked:
    """One thing that must be so before an action begins."""

    label: str
    """Its number among those of its action, "(3)"."""
    says: str
    looking: tuple[str, ...]
    """Commands that each print a line if it holds, and sentences (`# `); empty: only the script can tell."""
    otherwise: str

    @property
    def steps(self) -> tuple[tuple[str, str], ...]:
        """Each of `looking`, without the stop at the end of a last sentence, and what joins it to the next."""
        joints = [" " if line.endswith((":", ".")) else ", and " for line in self.looking[:-1]]
        last = tuple(line.removesuffix(".") for line in self.looking[-1:])
        return tuple(zip((*self.looking[:-1], *last), (*joints, ""), strict=False))


@frozen(kw_only=True)
class Guards:
    """What must be so before an action begins. `known`: numbers of earlier actions, and which of their things."""

    new: tuple[Asked, ...] = ()
    known: tuple[tuple[int, str], ...] = ()

    @property
    def grouped(self) -> tuple[tuple[str, tuple[Asked, ...]], ...]:
        """The new ones by what a person does if they do not hold, in the order of the first of each."""
        groups: dict[str, list[Asked]] = {}
        for one in self.new:
            groups.setdefault(one.otherwise, []).append(one)
        return tuple((otherwise, tuple(ones)) for otherwise, ones in groups.items())


@frozen(kw_only=True)
class Signs:
    """Facts that prove something, and commands that show them."""

    says: tuple[str, ...] = ()
    looking: tuple[str, ...] = ()

    @property
    def passages(self) -> tuple[Passage, ...]:
        """What is typed, and the sentences between."""
        return tuple(passages(self.looking))


@frozen(kw_only=True)
class Back:
    """The way back of an action that has one to tell."""

    possible: bool
    note: str
    work: tuple[Passage, ...]


@frozen(kw_only=True)
class ActionText:
    """One action as it is told."""

    number: int
    action: Action
    guards: Guards
    gathered: tuple[str, ...]
    """Names of the kind `action.gathers`."""
    work: tuple[Passage, ...]
    proofs: Signs
    audits: Signs
    back: Back | None
    after: tuple[int, ...]
    """Numbers of the actions whose results it needs."""

    @property
    def typed(self) -> tuple[str, ...]:
        """Everything that is typed for it, in order, before and after the work too; not what the audits ask later."""
        back = self.back.work if self.back else ()
        blocks = [*(passages(one.looking) for one in self.guards.new), self.work, self.proofs.passages, back]
        return tuple(line for block in blocks for one in block if isinstance(one, Commands) for line in one.lines)

    @property
    def long(self) -> bool:
        """So much to look at that it fills a sheet of paper: printed smaller, to stay whole."""
        groups = [
            (otherwise, *(text for one in ones for text in (one.says, *one.looking)))
            for otherwise, ones in self.guards.grouped
        ]
        texts = [text for group in (*groups, self.proofs.says, self.proofs.looking) for text in group]
        return sum(map(len, texts)) >= _FULL


@frozen(kw_only=True)
class Part:
    """One stage of the work. An installation has all five; one without actions has nothing to do."""

    number: int
    stage: Stage
    title: str
    where: str
    here: str
    """At which machine: its name and its disk."""
    by_script: bool
    """The script can do these actions. It does no change in part."""
    before: tuple[Passage, ...]
    """What to do by hand before the first action."""
    actions: tuple[ActionText, ...]

    @property
    def span(self) -> str:
        """Its actions by number: "12 to 28"."""
        first, last = self.actions[0].number, self.actions[-1].number
        return f"{first} to {last}" if first != last else str(first)


def stem(graph: InstallGraph) -> str:
    """The spec's name without its ending, for what is made of it."""
    return graph.spec_file.removesuffix(".toml")


def log_file(graph: InstallGraph) -> str:
    """Where the script keeps its log on the system that it runs on."""
    return f"/var/log/bedplate-{name(graph.machine.name).replace('_', '-')}.log"


def parts(graph: InstallGraph) -> tuple[Part, ...]:
    """All five stages, in order; of a change those with work in them, at least the installed machine."""
    told = {one.number: one for one in _action_texts(graph)}
    change = mode(graph).running
    wanted = tuple(stage for stage in Stage if not change or graph.stage(stage)) or (Stage.TARGET,)
    return tuple(_part(graph, number, stage, told) for number, stage in enumerate(wanted, 1))


def _part(graph: InstallGraph, number: int, stage: Stage, told: Mapping[int, ActionText]) -> Part:
    title, where = mode(graph).places[stage]
    return Part(
        number=number,
        stage=stage,
        title=title,
        where=where,
        here=_here(graph),
        by_script=stage in BY_SCRIPT and not (isinstance(graph, ChangeGraph) and graph.left_out),
        before=tuple(_prepared(graph, told)) if stage is _first_by_hand(graph) else (),
        actions=tuple(told[node.number] for node in graph.stage(stage)),
    )


def _here(graph: InstallGraph) -> str:
    layout = graph.fact(Layout)
    return graph.machine.name + (f" (disk {layout.serial or layout.disk_words})" if layout else "")


def _first_by_hand(graph: InstallGraph) -> Stage | None:
    """The stage in whose shell the work by hand begins."""
    return next((stage for stage in BY_SCRIPT if graph.stage(stage)), None)


def _prepared(graph: InstallGraph, told: Mapping[int, ActionText]) -> Iterator[Passage]:
    """What is typed before the first action: the disk's name, and the helpers that its looks use."""
    numbers = {node.number for stage in BY_SCRIPT for node in graph.stage(stage)}
    lines = [line for number in numbers for line in told[number].typed]
    used = shell_helpers.used(lines)
    if used or any("$DISK" in line for line in lines):
        yield from _disk_variable(graph)
    yield from helping(graph, used)


def helping(graph: InstallGraph, used: Iterable[str]) -> Iterator[Passage]:
    """How these helpers are typed, and tried."""
    used, layout = tuple(used), graph.fact(Layout)
    if not used:
        return
    yield prose(
        "Then give the shell the words that later lines use, in this window and again after every new start. "
        "Each says something only if it saw it: silence, or an error, is no yes."
    )
    yield Commands(lines=tuple(shell_helpers.definitions(used, layout)))
    if trial := shell_helpers.trial(used, layout):
        yield prose("Try them. Go on only if this says `typed right`:")
        yield Commands(lines=(trial,))


def _disk_variable(graph: InstallGraph) -> Iterator[Passage]:
    layout = graph.fact(Layout)
    if layout is None:
        return
    known = (Said("the serial number "), Code(layout.serial)) if layout.serial else (Said(layout.disk_words),)
    yield (
        Said("By hand, first find the node of the disk: the line with "),
        *known,
        Said(
            f" and {layout.size_bytes} bytes. The name of a disk can be another one after every start: look each time."
        ),
    )
    list_disks = "lsblk -dnbpo NAME,SIZE,LOG-SEC,MODEL,SERIAL"
    yield Commands(lines=(list_disks, "DISK=/dev/...   # the name found in that line"))


def _action_texts(graph: InstallGraph) -> Iterator[ActionText]:
    prompts = {secret.name: secret.prompt for secret in graph.secrets}
    numbers = {node.action.id: node.number for node in graph.nodes}
    asked: dict[Check, tuple[int, int]] = {}
    running = mode(graph).running
    for node in graph.nodes:
        action = node.action
        yield ActionText(
            number=node.number,
            action=action,
            guards=_guards(node, asked, running),
            gathered=gathered(action),
            work=tuple(_work(action.operations, prompts)),
            proofs=_proofs(action, running),
            audits=_signs(action.audits, running=True, disk=False),
            back=_back(action.way_back, prompts),
            after=tuple(sorted({numbers[edge.giver] for edge in node.after})),
        )


def _guards(node: Node, asked: dict[Check, tuple[int, int]], running: bool) -> Guards:
    """The guards of an action; what an earlier action asks for in the same words is only named by its number."""
    known: dict[int, list[int]] = {}
    new: list[Asked] = []
    for check in dict.fromkeys(node.action.guards):
        number, place = asked.setdefault(check, (node.number, len(new) + 1))
        if number == node.number:
            new.append(_asked(check, place, running))
        else:
            known.setdefault(number, []).append(place)
    return Guards(new=tuple(new), known=tuple((number, _places(places)) for number, places in sorted(known.items())))


def _asked(check: Check, place: int, running: bool) -> Asked:
    looking = tuple(manual_checks.asking(check.test, running))
    return Asked(label=f"({place})", says=check.says, looking=looking, otherwise=check.otherwise)


def _places(places: list[int]) -> str:
    """Numbers of guards in words: "(2)", "(1) to (7)", "(1), (4)"."""
    first, last = places[0], places[-1]
    if len(places) > 2 and places == list(range(first, last + 1)):
        return f"({first}) to ({last})"
    return ", ".join(f"({place})" for place in places)


def gathered(action: Action) -> tuple[str, ...]:
    """The names an action gathers from the needs of all others, in order; empty if it gathers none."""
    start = f"{action.gathers}:"
    return tuple(token.removeprefix(start) for token in action.gives if action.gathers and token.startswith(start))


def wrapped(names: Iterable[str]) -> tuple[str, ...]:
    """Names in lines of at most 110 columns."""
    return tuple(textwrap.wrap(" ".join(names), 110, break_on_hyphens=False, break_long_words=False))


def _work(operations: Iterable[Operation], prompts: Mapping[str, str]) -> Iterator[Passage]:
    """Commands that follow one another share a block; a text for a person stands between."""
    pending: list[str] = []
    for item in operations:
        if not isinstance(item, ByHand):
            pending += manual_commands.commands(item, prompts)
            continue
        yield from passages(pending)
        pending = []
        yield prose(item.text)
        if item.commands:
            yield from passages(manual_commands.lines(item.commands), shell=False)
    yield from passages(pending)


def passages(lines: Iterable[str], shell: bool = True) -> Iterator[Passage]:
    """Lines to type as blocks; a line that begins with `# ` is a sentence between them."""
    block: list[str] = []
    for line in lines:
        if not line.startswith("# "):
            block.append(line)
            continue
        if block:
            yield Commands(lines=tuple(block), shell=shell)
        yield prose(line.removeprefix("# "))
        block = []
    if block:
        yield Commands(lines=tuple(block), shell=shell)


def _proofs(action: Action, running: bool) -> Signs:
    """Without a shell to type them in, the commands that show it wait for the live medium."""
    if action.stage in (Stage.OTHER_SYSTEM, Stage.FIRMWARE):
        return Signs(says=tuple(check.says for check in action.proofs))
    late = action.stage is Stage.FIRST_BOOT
    return _signs(action.proofs, running=running or late, disk=not late)


def _signs(checks: tuple[Check, ...], running: bool, disk: bool) -> Signs:
    looking = dict.fromkeys(line for check in checks for line in manual_checks.asking(check.test, running, disk))
    return Signs(says=tuple(check.says for check in checks), looking=tuple(looking))


def _back(way_back: WayBack, prompts: Mapping[str, str]) -> Back | None:
    if way_back == NOTHING_TO_UNDO:
        return None
    work = tuple(_work(way_back.operations, prompts))
    return Back(possible=way_back.possible, note=way_back.note, work=work)
