"""Small hand-made graphs for the tests of renderings, and a sandbox in which a rendered script can run."""

from __future__ import annotations

import os
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from bedplate.actions import Action, InTarget, Operation, Stage, WayBack, WriteFile
from bedplate.conditions import file_is
from bedplate.install_graph import InstallGraph
from bedplate.linking.link import Owned, link
from bedplate.spec import Machine
from library import LIBRARY

SHELLS: Mapping[str, Sequence[str]] = {"dash": ["dash"], "bash": ["bash"], "busybox": ["busybox", "sh"]}

OWNER = f"{os.getuid()}:{os.getgid()}"

HOSTILE = (
    "$(touch BROKEN)",
    "`touch BROKEN`",
    "'; touch BROKEN; '",
    '"; touch BROKEN; "',
    "a\ntouch BROKEN\n",
    "\n# shellcheck disable=all\ntouch BROKEN",
    "; touch BROKEN #",
    "| touch BROKEN",
    "&& touch BROKEN",
    "> BROKEN",
    "${IFS}touch${IFS}BROKEN",
    "-n",
    "--help",
    "-e \\n",
    "%s%n%d",
    "back\\slash\\",
    "tab\there",
    "\\0101\\c",
    "!touch BROKEN",
    "*",
    "~",
    "a=b",
    "EOF\ntouch BROKEN\nEOF",
    "\x1b[2J\x07",
    "größe, 水, \U0001f41a, \x81\x88",
    "````\n# heading\n<script>alert(1)</script>",
    "| cell | [link](javascript:alert(1)) ![image](x)",
    "",
    " leading and trailing ",
    "'",
    "''''",
    '"',
)
"""Texts that would run, escape, vanish or change if any of them were pasted instead of quoted."""


def action(name: str = "demo.work", *operations: Operation, stage: Stage = Stage.LIVE, **fields: Any) -> Action:
    """An action with plain words where a test gives none."""
    given: dict[str, Any] = {"title": f"Do {name}", "reason": f"Because of {name}.", **fields}
    return Action(id=name, stage=stage, operations=operations, **given)


def writing(name: str, path: str, text: str, **fields: Any) -> Action:
    """An action that writes one file of the target, with its proof and its way back."""
    operation = WriteFile(path=InTarget(path), content=(text,), owner=OWNER)
    plain: dict[str, Any] = {"proofs": (file_is(path, (text,)),), "way_back": WayBack(note=f"Remove {path}.")}
    return action(name, operation, **{**plain, **fields})


def graph(*actions: Action, machine: str = "kelp-02", facts: Mapping[type, object] | None = None) -> InstallGraph:
    """A linked graph of these actions."""
    nodes, tools = link([Owned(action=one, section=one.id.split(".")[0], origin="demo 1.0") for one in actions])
    return InstallGraph(
        spec_file=f"{machine}.toml",
        machine=Machine(name=machine),
        survey=None,
        nodes=nodes,
        tools=tools,
        facts=facts or {},
        library=LIBRARY,
    )


class Sandbox:
    """A folder in which a script runs, its fixed places moved inside. What lies in `fakes` comes first in PATH."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.target = folder / "target"
        self.log = folder / "log"
        self.fakes = folder / "fakes"
        self._memory = tempfile.TemporaryDirectory(prefix=f"bedplate-test-{os.getpid()}-", dir="/dev/shm")
        self.scratch = Path(self._memory.name)
        self.target.mkdir(parents=True)
        self.fakes.mkdir()

    def place(self, text: str) -> Path:
        """The script with its constants moved into the sandbox. Fails if a constant is not there exactly once."""
        moved = {
            "TARGET=/mnt/target": f"TARGET={self.target}",
            "LOG=/var/log/bedplate-kelp-02.log": f"LOG={self.log}",
            "LOCK=/run/bedplate.lock": f"LOCK={self.folder}/lock",
            "SCRATCH='/run /dev/shm /tmp'": f"SCRATCH={self.scratch}",
            "NEEDED_UID=0": f"NEEDED_UID={os.getuid()}",
            "PATH=/usr/local/sbin:": f"PATH={self.fakes}:/usr/local/sbin:",
        }
        for old, new in moved.items():
            assert text.count(f"\n{old}") == 1, old
            text = text.replace(f"\n{old}", f"\n{new}")
        script = self.folder / "script.sh"
        script.write_text(text, encoding="utf-8")
        return script

    def fake(self, name: str, body: str) -> None:
        """A command of the sandbox that stands for a real one."""
        path = self.fakes / name
        path.write_text(f"#!/bin/sh\n{body}\n", encoding="utf-8")
        path.chmod(0o755)

    def run(
        self, text: str, shell: str = "dash", answers: str = "kelp-02\n", options: Sequence[str] = ()
    ) -> subprocess.CompletedProcess[str]:
        """Run the script from an empty working folder and give what it said."""
        script = self.place(text)
        work = self.folder / "work"
        work.mkdir(exist_ok=True)
        return subprocess.run(
            [*SHELLS[shell], str(script), *options],
            input=answers,
            capture_output=True,
            text=True,
            timeout=60,
            cwd=work,
            check=False,
        )
