"""What a person is told about the stages, action by action. Enters: an `InstallGraph`. Leaves: words, no markup.

Checklist and page are two forms of these values; every sentence they share is made here or in `overview`.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping

from attrs import frozen

from bedplate.actions import NOTHING_TO_UNDO, Action, ByHand, Check, Operation, Stage, WayBack
from bedplate.facts import Layout
from bedplate.graph import InstallGraph, Node
from bedplate.renderers import byhand

_PLACES: Mapping[Stage, tuple[str, str]] = {
    Stage.OTHER_SYSTEM: ("In the other system", "Start the machine as usual and do this in the system that is there."),
    Stage.FIRMWARE: ("In the firmware", "Do this in the firmware's setup and its boot menu."),
    Stage.LIVE: ("On the live medium", "Do this as root on the live medium."),
    Stage.TARGET: ("In the new system, from the live medium", "Still on the live medium, as root."),
    Stage.FIRST_BOOT: ("At the first start", "Do this when the machine starts without the live medium."),
}
_CHANGED: Mapping[Stage, tuple[str, str]] = {
    **_PLACES,
    Stage.TARGET: ("On the installed machine", "Do this as root on the running machine itself."),
    Stage.FIRST_BOOT: ("At the next start", "Do this when all of the above is done."),
}
"""The same for a change of an installed machine."""

_BY_SCRIPT = (Stage.LIVE, Stage.TARGET)


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


# --- actions and stages ------------------------------------------------------------------------------------------


@frozen(kw_only=True)
class Guards:
    """What must be so before an action begins. `known` counts those that an earlier action asks for, by its number."""

    new: tuple[Check, ...] = ()
    known: tuple[tuple[int, int], ...] = ()

    @property
    def grouped(self) -> tuple[tuple[str, tuple[Check, ...]], ...]:
        """The new ones by what a person does if they do not hold, in the order of the first of each."""
        groups: dict[str, list[Check]] = {}
        for check in self.new:
            groups.setdefault(check.otherwise, []).append(check)
        return tuple((otherwise, tuple(checks)) for otherwise, checks in groups.items())


@frozen(kw_only=True)
class Signs:
    """Facts that prove something, and commands that show them."""

    says: tuple[str, ...] = ()
    looking: tuple[str, ...] = ()


@frozen(kw_only=True)
class Back:
    """The way back of an action that has one to tell."""

    possible: bool
    note: str
    work: tuple[Passage, ...]


@frozen(kw_only=True)
class Told:
    """One action as it is told."""

    number: int
    action: Action
    guards: Guards
    gathered: tuple[str, ...]
    """Names of the kind `action.gathers`."""
    secrets: tuple[str, ...]
    """Prompts of the secrets that have to be put into its commands."""
    work: tuple[Passage, ...]
    proofs: Signs
    audits: Signs
    back: Back | None
    after: tuple[int, ...]
    """Numbers of the actions whose results it needs."""


@frozen(kw_only=True)
class Part:
    """One stage of the work. Every graph has all five; one without actions has nothing to do."""

    number: int
    stage: Stage
    title: str
    where: str
    by_script: bool
    """The script can do these actions."""
    before: tuple[Passage, ...]
    """What to do by hand before the first action."""
    actions: tuple[Told, ...]

    @property
    def span(self) -> str:
        """Its actions by number: "12 to 28"."""
        first, last = self.actions[0].number, self.actions[-1].number
        return f"{first} to {last}" if first != last else str(first)


def parts(graph: InstallGraph) -> tuple[Part, ...]:
    """All five stages, in order."""
    told = {one.number: one for one in _told(graph)}
    return tuple(_part(graph, number, stage, told) for number, stage in enumerate(Stage, 1))


def _part(graph: InstallGraph, number: int, stage: Stage, told: Mapping[int, Told]) -> Part:
    title, where = (_CHANGED if graph.scene == "change" else _PLACES)[stage]
    return Part(
        number=number,
        stage=stage,
        title=title,
        where=where,
        by_script=stage in _BY_SCRIPT,
        before=tuple(_disk_variable(graph)) if stage is Stage.LIVE else (),
        actions=tuple(told[node.number] for node in graph.stage(stage)),
    )


def _disk_variable(graph: InstallGraph) -> Iterator[Passage]:
    layout = graph.fact(Layout)
    if layout is None or not any(byhand.needs_disk(node.action.operations) for node in graph.nodes):
        return
    known = (Said("the serial number "), Code(layout.serial)) if layout.serial else (Said(layout.disk_words),)
    yield (
        Said("By hand, first find the node of the disk: the line with "), *known,
        Said(f" and {layout.size_bytes} bytes. The name of a disk can be another one after every start: look each "
             "time."),
    )  # fmt: skip
    list_disks = "lsblk -dnbpo NAME,SIZE,LOG-SEC,MODEL,SERIAL"
    yield Commands(lines=(list_disks, "DISK=/dev/...   # the name found in that line"))


def _told(graph: InstallGraph) -> Iterator[Told]:
    prompts = {secret.name: secret.prompt for secret in graph.secrets}
    numbers = {node.action.id: node.number for node in graph.nodes}
    asked: dict[Check, int] = {}
    for node in graph.nodes:
        action = node.action
        yield Told(
            number=node.number,
            action=action,
            guards=_guards(node, asked),
            gathered=gathered(action),
            secrets=tuple(secret.prompt for secret in action.secrets),
            work=tuple(_work(action.operations, prompts)),
            proofs=_signs(action.proofs),
            audits=_signs(action.audits),
            back=_back(action.way_back, prompts),
            after=tuple(sorted({numbers[edge.giver] for edge in node.after})),
        )


def _guards(node: Node, asked: dict[Check, int]) -> Guards:
    """The guards of an action; what an earlier action asks for in the same words is only counted."""
    known: dict[int, int] = {}
    new = []
    for check in node.action.guards:
        earlier = asked.setdefault(check, node.number)
        if earlier == node.number:
            new.append(check)
        else:
            known[earlier] = known.get(earlier, 0) + 1
    return Guards(new=tuple(new), known=tuple(sorted(known.items())))


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
            pending += byhand.commands(item, prompts)
            continue
        if pending:
            yield Commands(lines=tuple(pending))
            pending = []
        yield (Said(item.text),)
        if item.commands:
            yield Commands(lines=item.commands, shell=False)
    if pending:
        yield Commands(lines=tuple(pending))


def _signs(checks: tuple[Check, ...]) -> Signs:
    looking = dict.fromkeys(line for check in checks for line in byhand.looking(check.test))
    return Signs(says=tuple(check.says for check in checks), looking=tuple(looking))


def _back(way_back: WayBack, prompts: Mapping[str, str]) -> Back | None:
    if way_back == NOTHING_TO_UNDO:
        return None
    work = tuple(_work(way_back.operations, prompts))
    return Back(possible=way_back.possible, note=way_back.note, work=work)
