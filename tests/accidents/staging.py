"""How accidents are staged: bent copies of the example machines, verbs on made-up places, and catches taken out.

Enters: an example machine and edits, or a verb and its surroundings. Leaves: faults, a graph, a verb's words.
"""

from __future__ import annotations

import functools
import importlib
import subprocess
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any
from unittest.mock import patch

from attrs import evolve

from bedplate.actions import Action, Call, Check
from bedplate.cli import commands
from bedplate.compiling import pipeline
from bedplate.faults import Fault, Rejected, describe
from bedplate.install_graph import InstallGraph
from bedplate.loading.registry import load
from bedplate.rendering import checklist, script
from bedplate_steps import families
from library import LIBRARY, changed

SPECS = Path(__file__).resolve().parents[2] / "specs"
MACHINES = ("barnacle-05", "kelp-02", "limpet-01", "tern-04")
Edits = tuple[tuple[str, str], ...]
_hidden: set[str] = set()


# --- machines ------------------------------------------------------------------------------------------------------


def _checked(name: str, spec: Edits, common: Edits, survey: Edits) -> tuple[pipeline.Checked, InstallGraph]:
    with tempfile.TemporaryDirectory() as folder:
        for file, edits in ((f"{name}.toml", spec), ("common.toml", common), (f"{name}.survey.toml", survey)):
            text = (SPECS / file).read_text(encoding="utf-8")
            for old, new in edits:
                assert old in text, f"{file} does not hold {old!r}"
                text = text.replace(old, new, 1)
            (Path(folder) / file).write_text(text, encoding="utf-8")
        return commands.checked(f"{folder}/{name}.toml", load())


def faults(name: str = "kelp-02", spec: Edits = (), common: Edits = (), survey: Edits = ()) -> dict[str, str]:
    """Faults and warnings of the bent machine: from code to everything a person is told."""
    found: list[Fault] = []
    try:
        found += _checked(name, spec, common, survey)[0].warnings
    except Rejected as rejected:
        found += rejected.faults
    return {fault.code: describe(fault) for fault in found if f"fault:{fault.code}" not in _hidden}


def planned(name: str = "kelp-02", spec: Edits = (), common: Edits = (), survey: Edits = ()) -> InstallGraph:
    """The install graph of the bent machine."""
    return _checked(name, spec, common, survey)[1]


def actions(graph: InstallGraph) -> dict[str, Action]:
    """Every action by its id, in order."""
    return {node.action.id: node.action for node in graph.nodes if f"action:{node.action.id}" not in _hidden}


def checks(action: Action, verb: str = "") -> list[Check]:
    """Guards and proofs of an action, or those that call one verb."""
    found = [
        check for check in (*action.guards, *action.proofs) if f"verb:{_verb(check).rpartition('/')[2]}" not in _hidden
    ]
    return [check for check in found if not verb or _verb(check) == verb]


def _verb(check: Check) -> str:
    return check.test.verb if isinstance(check.test, Call) else "command"


def told(graph: InstallGraph) -> str:
    """The checklist."""
    return checklist.render(graph)


def rendered(graph: InstallGraph) -> str:
    """The script."""
    return script.render(graph)


# --- verbs ---------------------------------------------------------------------------------------------------------


class Place:
    """A folder with a target, scratch space and whatever else a verb is to look at."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="accident-")
        self.path = Path(self._folder.name)
        self.target = self.path / "target"
        self.disk = self.path / "disk"
        for folder in (self.target, self.path / "work"):
            folder.mkdir()

    def put(self, name: str, content: str | bytes = "", mode: int = 0o644) -> Path:
        """A file below the place, its folders made."""
        path = self.path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        path.chmod(mode)
        return path

    def table(self, rows: str, mib: int = 64) -> None:
        """A GPT on the image that stands for the disk, by sfdisk."""
        with self.disk.open("wb") as file:
            file.truncate(mib << 20)
        self.sfdisk("label: gpt\nlabel-id: 11111111-2222-4333-8444-555555555555\n" + rows)

    def sfdisk(self, text: str, *options: str) -> str:
        """sfdisk on the image; what it printed."""
        command = ["sfdisk", "--quiet", "--no-reread", "--no-tell-kernel", *options, str(self.disk)]
        return subprocess.run(command, input=text, capture_output=True, text=True, check=True).stdout

    def says(
        self,
        verb: str,
        *words: str,
        fakes: Mapping[str, str] | None = None,
        moved: Mapping[str, str] | None = None,
        stdin: str = "",
        shell: str = "dash",
    ) -> str:
        """What the verb says when it refuses; fails where it does not. `fakes` are commands, `moved` paths."""
        code, words_said = self.run(verb, *words, fakes=fakes, moved=moved, stdin=stdin, shell=shell)
        assert code != 0, f"{verb} let it pass: {words_said}"
        assert words_said.strip(), f"{verb} refused without a word"
        return words_said

    def holds(
        self, verb: str, *words: str, fakes: Mapping[str, str] | None = None, moved: Mapping[str, str] | None = None
    ) -> None:
        """The verb is content."""
        code, words_said = self.run(verb, *words, fakes=fakes, moved=moved)
        assert code == 0, words_said

    def run(
        self,
        verb: str,
        *words: str,
        fakes: Mapping[str, str] | None = None,
        moved: Mapping[str, str] | None = None,
        stdin: str = "",
        shell: str = "dash",
    ) -> tuple[int, str]:
        """Exit status and words of a verb."""
        text = LIBRARY.text([verb])
        for name, body in (fakes or {}).items():
            self.put(f"fakes/{name}", f'#!/bin/sh\nfake() {{ {body}\n}}\nfake "$@"\n', 0o755)
        for old, new in (moved or {}).items():
            text = text.replace(old, new)
        head = [
            "set -u",
            "NEW_LINE='\n'",
            f"TARGET='{self.target}' WORK='{self.path}/work' DISK='{self.disk}'",
            f"COPIES='{self.path}/copies'",
            f"LC_ALL=C PATH='{self.path}/fakes':$PATH",
            "say() { printf '%s\\n' \"$*\"; }",
            'in_target() { "$@"; }',
        ]
        lines = "\n".join([*head, text, f'{LIBRARY.call(verb)} "$@"', ""])
        ran = subprocess.run(
            [*shell.split(), "-c", lines, shell, *words],
            input=stdin,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        return ran.returncode, ran.stdout + ran.stderr


# --- catches taken out ---------------------------------------------------------------------------------------------

Removal = Callable[[], Any]


def verb(name: str) -> Removal:
    """The runtime verb always succeeds."""
    return lambda: changed(name, lambda text: f"{LIBRARY.call(name)}() {{ return 0; }}\n")


def spoiled(name: str, old: str, new: str) -> Removal:
    """A text of the runtime library with something in it changed."""
    return lambda: changed(name, lambda text: text.replace(old, new))


def function(where: str, answer: Any = ()) -> Removal:
    """A function (`module:name`) that only gives `answer`, or calls it."""
    module, _, name = where.partition(":")

    def removed() -> Any:
        given = answer if callable(answer) else (lambda *_, **__: answer)
        return patch.object(importlib.import_module(f"bedplate_steps.{module}"), name, given)

    return removed


def value(where: str, other: object) -> Removal:
    """A constant (`module:NAME`) with another value."""
    module, _, name = where.partition(":")
    return lambda: patch.object(importlib.import_module(f"bedplate_steps.{module}"), name, other)


def concern(kind: type[Any], **other: object) -> Removal:
    """What every built-in family says of a concern, with other values."""
    bent = {
        name: tuple(evolve(one, **other) if isinstance(one, kind) else one for one in records)
        for name, records in families.FAMILIES.items()
    }
    return lambda: patch.object(families, "FAMILIES", bent)


def unseen(what: str) -> Removal:
    """`action:ID`, `verb:NAME` (as a check; without its step) or `fault:CODE` is taken out of what is shown."""

    @contextmanager
    def removed() -> Iterator[None]:
        _hidden.add(what)
        try:
            yield
        finally:
            _hidden.discard(what)

    return removed


def caught_by(*removals: Removal) -> Callable[[Callable[[], None]], Callable[[], None]]:
    """The accident is caught; and each catch taken out by itself, it is not: then the same test must fail."""

    def wrap(test: Callable[[], None]) -> Callable[[], None]:
        @functools.wraps(test)
        def both() -> None:
            test()
            for number, removal in enumerate(removals, 1):
                with ExitStack() as stack:
                    stack.enter_context(removal())
                    try:
                        test()
                    except Exception:  # whatever it is, the accident was not shown to be caught
                        continue
                raise AssertionError(f"the test passes without its catch number {number}")

        return both

    return wrap
