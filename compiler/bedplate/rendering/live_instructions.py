"""The two ways through the stages on the live medium: by script or by hand. Enters: a graph. Leaves: passages.

How the script gets there and is started, where it ends, and with which commands the medium must come for hands.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from bedplate.actions import Stage
from bedplate.install_graph import ChangeGraph, InstallGraph
from bedplate.rendering import change_summary, shell_helpers, stage_text
from bedplate.rendering.modes import mode
from bedplate.rendering.quoting import quote
from bedplate.rendering.stage_text import Code, Commands, Line, Loud, Part, Passage, Said

_COMMAND = re.compile(r"[a-z][a-z0-9._-]*")
_BEFORE = {"do", "then", "else", "if", "while", "{", "!", "("}
_BUILT_IN = {
    "for",
    "case",
    "done",
    "fi",
    "exit",
    "echo",
    "printf",
    "command",
    "test",
    "export",
    "shift",
    "cd",
    "exec",
    "umask",
    "unset",
    "set",
    "read",
}
"""Words of the shell itself: sh(1) of POSIX.1-2017, 2.4, 2.14, and utilities that every shell has inside."""
_HERE = re.compile(r"(<<'([^'\n]+)')\n(?:.*\n)*?\2$", re.MULTILINE)
_QUOTED = re.compile(r"'[^']*'")
_DOUBLE = re.compile(r'"(?:\\.|[^"\\])*"')
_SUBSTITUTED = re.compile(r"\"?\$\(([^()]*)\)\"?")
_BETWEEN = re.compile(r"\|\||&&|[|;(){}]| #.*")
_ASSIGNED = re.compile(r"[A-Za-z_]+=|Q$")


def script_file(graph: InstallGraph) -> str:
    """The script's name: the spec's, with another ending."""
    return mode(graph).script or stage_text.stem(graph) + ".sh"


def script_path(graph: InstallGraph) -> str:
    """Where the script lies when it is started: on the second stick; of a change, in the folder it was brought to."""
    return mode(graph).folder + script_file(graph)


def make(graph: InstallGraph) -> str:
    """The command that makes the script."""
    if isinstance(graph, ChangeGraph):
        return change_summary.make(graph)
    return f"bedplate compile {quote(graph.spec_file)} --as script --out {quote(script_file(graph))}"


def script_at_hand(graph: InstallGraph) -> Line:
    """How the script comes to the machine."""
    return (
        Said(f"{mode(graph).carrier}, the script "),
        Code(script_file(graph)),
        Said(". Where Bedplate is installed, "),
        Code(make(graph)),
        Said(" makes it."),
    )


def choose(graph: InstallGraph, parts: Iterable[Part]) -> Iterator[Passage]:
    """What stands before the first stage that the script can do."""
    if isinstance(graph, ChangeGraph):
        yield from change_summary.choose(graph)
        return
    mine = [part for part in parts if part.by_script and part.actions]
    first, last = mine[0].actions[0].number, mine[-1].actions[-1].number
    yield (Loud(f"Choose one way for {first} to {last}, and stay with it."),)
    yield from _by_script(graph, f"{first} to {last}" if first != last else str(first), last)
    yield from _by_hand(graph)


def _by_script(graph: InstallGraph, span: str, last: int) -> Iterator[Passage]:
    file = quote(script_path(graph))
    count = len(graph.secrets)
    asks = f"{count} secrets and for " if count > 1 else "a secret and for " * count
    yield (
        Loud("By script (recommended)."),
        Said(
            " It checks everything before it writes, and proves each action. "
            "Plug the second stick in, find its partition by size and model, and put its name in place of "
        ),
        Code("SECOND-STICK"),
        Said(":"),
    )
    yield Commands(lines=mode(graph).mount)
    yield (Said("Look first; this prints every action and touches nothing:"),)
    yield Commands(lines=(f"sh {file} --show | less",))
    yield (Said(f"Then run it. It asks for {asks}the name of this machine; nothing is written before:"),)
    yield Commands(lines=(f"sh {file}",))
    after = f" Then tick {span} off, and go on at {last + 1}." if last < len(graph.nodes) else f" Then tick {span} off."
    yield (
        Said(
            "It goes through all of them without a stop and says “done” or “already done” for each, the last time for "
        ),
        Code(f"[{last}/{len(graph.nodes)}]"),
        Said("." + after),
    )
    yield (
        Said(
            "If it stops, it says what failed, what is done already, and the ways back. Put it right and run it "
            "again: what is done is skipped."
        ),
    )


def _by_hand(graph: InstallGraph) -> Iterator[Passage]:
    writes = [node for node in graph.stage(Stage.LIVE) if node.action.changes and not node.action.transient]
    until = ""
    if writes:
        until = (
            f" Until action {writes[0].number}, the first that stays, you may still change to the script. After "
            "it do not change ways: the script cannot know what was done by hand."
        )
    yield (
        Loud("By hand."),
        Said(
            " Only if you look at every “Only begin if” yourself before you go on. Type the "
            "commands of one action, look at its proof, tick it off, then the next." + until
        ),
    )


# --- the medium's commands -----------------------------------------------------------------------------------------


def tools_test(graph: InstallGraph, parts: Iterable[Part]) -> tuple[Passage, ...]:
    """One line that names every command that is missing on the live medium for the work by hand."""
    wanted = tools(graph, parts)
    if not wanted:
        return ()
    line = f'for one in {" ".join(wanted)}; do command -v "$one" > /dev/null || echo "missing: $one"; done'
    where = "machine" if mode(graph).running else "medium"
    return (
        (Said(f"By hand, see that the {where} has every command. This names what is missing, or nothing:"),),
        Commands(lines=(line,)),
    )


def tools(graph: InstallGraph, parts: Iterable[Part]) -> tuple[str, ...]:
    """Every command that the medium must have for the work by hand, in order of the alphabet."""
    return tuple(sorted({*graph.tools, *_typed(parts)}))


_SOME = re.compile(r"(?:Only|One of|Either|Or|or|Where|If|Without)\b")
"""How a sentence begins behind which commands stand for some cases only."""


def _typed(parts: Iterable[Part]) -> Iterator[str]:
    """Commands that every work by hand needs: of the helpers, the looks before and after, and the work itself."""
    for part in parts:
        if not part.by_script:
            continue
        yield from _needed(part.before)
        for told in part.actions:
            yield from _needed(told.work)
            yield from _needed(told.proofs.passages)
            for one in told.guards.new:
                yield from _needed(stage_text.passages(one.looking))


def _needed(passages: Iterable[Passage]) -> Iterator[str]:
    some = False
    for passage in passages:
        if isinstance(passage, Commands):
            yield from () if some or not passage.shell else names("\n".join(passage.lines))
        else:
            some = _SOME.match("".join(piece.text for piece in passage)) is not None


def names(text: str) -> tuple[str, ...]:
    """Names in the places of commands, in order; none of the functions that the text defines, nor of alternatives."""
    lines = [line for line in _HERE.sub(r"\1", text).split("\n") if "||" not in line]
    words = [word for line in lines for word in _commands(line)]
    return tuple(word for word in words if word not in shell_helpers.HELPERS)


def _commands(line: str) -> Iterator[str]:
    bare, inner = _QUOTED.sub("Q", line), ""
    while match := _SUBSTITUTED.search(bare):
        bare, inner = bare[: match.start()] + "Q" + bare[match.end() :], f"{inner};{match[1]}"
    for piece in _BETWEEN.split(_DOUBLE.sub("Q", f"{bare};{inner}")):
        words = [word for word in piece.split() if not _ASSIGNED.match(word)]
        while words and (words[0] in _BEFORE or words[0] in ("chroot", "xargs")):
            if words[0] in ("chroot", "xargs"):
                yield words[0]
                words = []
            words = words[1:]
        if words and _COMMAND.fullmatch(words[0]) and words[0] not in _BUILT_IN:
            yield words[0]
