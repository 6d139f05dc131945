"""The ready-made actions, and the verbs behind `append`, under three shells."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

import pytest

from bedplate import build
from bedplate.actions import Action, InTarget, SecretRef, Stage, WayBack, Where
from bedplate.conditions import succeeds
from bedplate.loading import validate_action
from bedplate.testing.function_runner import run_function as run
from library import LIBRARY
from rendering import SHELLS

WORDS: dict[str, Any] = {"title": "Do it", "reason": "It must be done."}
DONE: dict[str, Any] = {
    "proofs": (succeeds("It is done", "test", "-e", InTarget("/x")),),
    "way_back": WayBack(note="It stays: it harms nobody."),
}

ACTIONS = (
    build.write_file("moor.file", "/etc/moor", "rope\n", **WORDS),
    build.write_file(
        "moor.key", "/etc/key", (SecretRef("key"), "\n"), mode=0o600, secrets=(build.ask("key", "Key"),), **WORDS
    ),
    build.append("moor.line", "/etc/hosts", "192.0.2.4 buoy", marker="moor buoy", **WORDS),
    build.enable_service("moor.service", "moor.service", needs=("file:/etc/moor",), **WORDS),
    build.run("moor.run", "moor", "--now", **WORDS, **DONE),
    build.run("moor.live", "install", InTarget("/x"), where=Where.LIVE, **WORDS, **DONE),
    build.by_hand("moor.look", "Look at the buoy.", "moor --status", expected="It floats.", **WORDS),
)


@pytest.mark.parametrize("action", ACTIONS, ids=lambda action: action.id)
def test_a_ready_made_action_keeps_the_contract(action: Action) -> None:
    assert validate_action.trouble(action, "moor", LIBRARY) == ""
    assert action.proofs or not action.changes
    assert action.way_back.note


def test_what_is_added_stands_beside_what_the_builder_knows() -> None:
    service = next(action for action in ACTIONS if action.id == "moor.service")
    assert service.needs == ("base", "tool:systemctl", "file:/etc/moor")
    assert service.gives == ("service:moor.service",)
    secret = next(action for action in ACTIONS if action.id == "moor.key")
    assert secret.stamped and secret.secrets[0].name == "key"
    assert next(action for action in ACTIONS if action.id == "moor.live").needs == ("base", "tool:install")
    assert next(action for action in ACTIONS if action.id == "moor.look").stage is Stage.FIRST_BOOT


def test_what_can_never_be_right_is_refused() -> None:
    with pytest.raises(ValueError, match="marker"):
        build.append("moor.line", "/etc/x", "a", marker="a\nb", **WORDS)
    with pytest.raises(ValueError, match="way back"):
        build.by_hand("moor.x", "Do.", expected="Done.", changes=True, **WORDS)


@pytest.fixture(params=sorted(SHELLS))
def shell(request: pytest.FixtureRequest) -> list[str]:
    """Each shell in turn."""
    return list(SHELLS[request.param])


class Blocks:
    """One file of a made-up target, and the verbs on it."""

    def __init__(self, folder: Path, shell: list[str]) -> None:
        self.folder, self.shell, self.path = folder, shell, folder / "target" / "etc" / "list"
        self.path.parent.mkdir(parents=True)
        (folder / "work").mkdir()

    def call(self, verb: str, text: str = "", marker: str = "moor buoy") -> subprocess.CompletedProcess[str]:
        return run(
            verb,
            str(self.path),
            marker,
            "#",
            target=self.folder / "target",
            work=self.folder / "work",
            shell=self.shell,
            stdin=text,
        )


BLOCK = "# begin moor buoy\nrope 'a' $(b) \\n\n# end moor buoy\n"
TEXT = "rope 'a' $(b) \\n\n"


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (None, BLOCK),
        ("", BLOCK),
        ("one\n", "one\n" + BLOCK),
        ("no line end", "no line end\n" + BLOCK),
        ("one\n# begin moor buoy\nold\nolder\n# end moor buoy\ntwo\n", "one\ntwo\n" + BLOCK),
        ("# begin moor buoy\n# end moor buoy\n", BLOCK),
        ("# begin other\nkept\n# end other\n", "# begin other\nkept\n# end other\n" + BLOCK),
    ],
)
def test_a_block_is_put_proved_and_dropped(before: str | None, after: str, shell: list[str], tmp_path: Path) -> None:
    blocks = Blocks(tmp_path, shell)
    if before is not None:
        blocks.path.write_text(before)
        blocks.path.chmod(0o640)
    for _ in range(2):
        assert blocks.call("put-block", TEXT).returncode == 0
        assert blocks.path.read_text() == after
        assert blocks.call("block-is", TEXT).returncode == 0
    assert before is None or blocks.path.stat().st_mode & 0o777 == 0o640
    assert blocks.call("block-is", "else\n").returncode == 1
    for _ in range(2):
        assert blocks.call("drop-block").returncode == 0
        rest = after.removesuffix(BLOCK)
        assert (blocks.path.read_text() if blocks.path.exists() else "") == rest


@pytest.mark.parametrize(
    "text", ["# begin moor buoy\nrope\n", "rope\n# end moor buoy\n", "# end moor buoy\n# begin moor buoy\n"]
)
def test_a_block_that_somebody_broke_is_left_alone(text: str, shell: list[str], tmp_path: Path) -> None:
    blocks = Blocks(tmp_path, shell)
    blocks.path.write_text(text)
    for verb in ("put-block", "drop-block", "block-is"):
        done = blocks.call(verb, TEXT)
        assert done.returncode == 1 and "not the other" in done.stderr
    assert blocks.path.read_text() == text
