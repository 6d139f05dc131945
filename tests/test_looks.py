"""No look by hand says yes without evidence: not with a command that fails, says nothing or is missing, nor with all.

A command that is mistyped is one that is missing. Each look of all machines is tried; those that hold on a machine made
of files must say so there first. Common practice, no source: absence of an answer is no answer.
"""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from markdown_it import MarkdownIt

from bedplate.actions import InTarget, Stage, Succeeds, WriteFile
from bedplate.facts import Layout
from bedplate.rendering import checklist, live_instructions, manual_checks, manual_commands, shell_helpers, stage_text
from bedplate.rendering.stage_text import Commands
from looking import ANSWERS, CASES, ROOT, SPECS, Machine, bench_case, planned, stub, words
from looking import looks as all_looks
from rendering import HOSTILE, action, graph

HOLDS = re.compile(r"^(?:row|room|every|none|grep|sha256sum|stat|readlink|sfdisk|od|lsblk)\b")
STATUS_ALONE = (r"^\{ ntfs-3g\.probe .*/dev/null; \[ \$\? -gt 0 \]; \} && ",)
"""Looks whose command answers by its exit status only, and shows by a refusal that it looks at all."""


def plan(name: str, folder: Path) -> str:
    kind, _, stem = name.partition(" ")
    return str(ROOT / "specs" / f"{stem}.toml" if kind == "spec" else bench_case(stem, folder))


NAMES = [*(f"spec {name}" for name in SPECS), *(f"bench {name}" for name in CASES)]


@pytest.mark.parametrize("name", NAMES)
def test_no_look_says_yes_where_all_commands_are_no_evidence(name: str, tmp_path: Path) -> None:
    made = planned(plan(name, tmp_path))
    machine = Machine(made, tmp_path / "machine", after=True)
    asked = all_looks(made)
    assert len(asked) > 30
    for answer, does in ANSWERS.items():
        tools = tmp_path / answer.replace(" ", "-")
        tools.mkdir()
        for one in dict.fromkeys(word for line in (*asked, *shell_helpers.HELPERS.values()) for word in words(line)):
            if one not in ("printf", "echo", "test"):
                stub(tools / one, f"#!/bin/sh\n{does}\n")
        for line, about in asked.items():
            assert machine.say(line, only=tools) == "" or "command -v" in line, (answer, about, line)
    nothing = tmp_path / "nothing"
    nothing.mkdir()
    for line, about in asked.items():
        assert machine.say(line, only=nothing) == "", (about, line)


@pytest.mark.parametrize("name", NAMES)
def test_each_command_of_a_look_that_holds_is_evidence(name: str, tmp_path: Path) -> None:
    """Each program is replaced by itself, where the look says yes with all of them in their places."""
    made = planned(plan(name, tmp_path))
    held = 0
    for after in (False, True):
        machine = Machine(made, tmp_path / f"machine-{after}", after)
        for line, about in all_looks(made).items():
            if not machine.say(line) or "command -v" in line:
                continue
            held += 1
            used = words(line) + [
                one for name in shell_helpers.used([line]) for one in words(shell_helpers.HELPERS[name])
            ]
            for one in dict.fromkeys(used):
                if one in ("printf", "echo", "test"):
                    continue
                for answer, does in ANSWERS.items():
                    tools = tmp_path / f"{after}-{held}-{one}-{answer.replace(' ', '-')}"
                    tools.mkdir()
                    ran = tools / "ran"
                    stub(tools / one, f"#!/bin/sh\n: > {ran}\n{does}\n")
                    said = machine.say(line, first=tools)
                    assert said == "" or not ran.exists(), (one, answer, about, line)
    assert held > 30


@pytest.mark.parametrize("name", NAMES)
def test_every_guard_and_proof_of_work_by_hand_has_a_look_or_a_sentence(name: str, tmp_path: Path) -> None:
    made = planned(plan(name, tmp_path))
    lacking = [
        f"{node.action.id}: {check.says}"
        for node in made.nodes
        for check in (*node.action.guards, *node.action.proofs, *node.action.audits)
        if not manual_checks.asking(check.test)
    ]
    assert lacking == []


@pytest.mark.parametrize("name", NAMES)
def test_no_look_and_no_work_goes_through_a_link_that_a_copy_of_the_disk_may_own(name: str, tmp_path: Path) -> None:
    """udev(7) lets two disks with one GUID fight for a link below /dev/disk/by-partuuid."""
    made = planned(plan(name, tmp_path))
    for part in stage_text.parts(made):
        for told in part.actions:
            typed = (*told.typed, *told.audits.looking)
            assert [line for line in typed if "by-partuuid" in line] == []
    tokens = MarkdownIt("commonmark").parse(checklist.render(made))
    assert [one.content for one in tokens if one.type == "fence" and "by-partuuid" in one.content] == []


def test_helpers_say_yes_only_on_evidence(tmp_path: Path) -> None:
    layout = planned(str(ROOT / "specs/kelp-02.toml")).fact(Layout)
    machine = Machine(planned(str(ROOT / "specs/kelp-02.toml")), tmp_path / "m", after=True)
    [esp, *_] = [part for part in layout.partitions if not part.new] if layout else []
    good, bad = f"{esp.start} {esp.size}", f"{esp.start} {esp.size - 1}"
    guid = shell_helpers.short(esp.uuid)
    assert machine.say(f"row {guid} {good}") and not machine.say(f"row {guid} {bad}") and not machine.say("row")
    assert machine.say(f"part {guid}").endswith("disk.img1") and machine.say("part FFFFFFFF") == ""
    assert not machine.say(f"room {esp.end} {esp.end}") and not machine.say("room")
    assert not machine.say("room 9 5") and machine.say("room 34 2047") == "yes"
    assert machine.say("none x echo y") == "yes" == machine.say("every '^Y$' echo y")
    for silent in ("none x echo x", "none x true", "none y false", "every x echo y", "every . true", "none", "every"):
        assert machine.say(silent) == "", silent
    assert machine.say(shell_helpers.trial(shell_helpers.HELPERS, layout)) == "typed right"


@pytest.mark.parametrize("typo", [("m&&n==$c", "n==$c"), ("NF{m++} ", "{m++} "), ("n==$c", "n!=$c"), ("n++", "n")])
def test_a_helper_that_was_mistyped_is_found(typo: tuple[str, str]) -> None:
    layout = planned(str(ROOT / "specs/kelp-02.toml")).fact(Layout)
    used = ("judge", "every", "none")
    lines = [line.replace(*typo) for line in shell_helpers.definitions(used, layout)]
    text = "\n".join([*lines, shell_helpers.trial(used, layout)])
    ran = subprocess.run(["sh", "-c", text], capture_output=True, text=True, check=False)
    assert ran.stdout == "", ran


def test_a_disk_with_another_serial_number_has_no_partitions_here(tmp_path: Path) -> None:
    made = planned(str(ROOT / "specs/kelp-02.toml"))
    machine = Machine(made, tmp_path / "m", after=True)
    other = tmp_path / "other"
    other.mkdir()
    stub(other / "lsblk", "#!/bin/sh\necho SM-NVME-0218\n")
    layout = made.fact(Layout)
    assert layout is not None
    for part in layout.partitions:
        line = f"part {shell_helpers.short(part.uuid)}"
        assert machine.say(line) and not machine.say(line, first=other)


# --- what is pasted --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("shell", [["dash"], ["bash"], ["busybox", "sh"]], ids=lambda shell: shell[0])
@pytest.mark.parametrize(
    "text",
    [
        *(one for one in HOSTILE if "\0" not in one),
        "a\nEND\ntouch BROKEN\n",
        "END\nEND.\nEND..\ntouch BROKEN\n",
        "END.\ntouch BROKEN\n",
        "END",
        "END\n",
        "no end of line",
        "blank at the end \n",
        "\ttab first\n",
        "\n\n",
        "a\\\nb\n",
        "'\nEND\n'\n",
    ],
)
def test_a_file_that_is_typed_holds_the_content_to_the_byte(text: str, shell: list[str], tmp_path: Path) -> None:
    """Here-documents end at their delimiter alone on a line (sh(1) of POSIX.1-2017, 2.7.4)."""
    item = WriteFile(path=InTarget("/etc/notes"), content=(text,), owner="0:0")
    made = "\n".join(manual_commands.commands(item, {})).replace("/mnt/target", str(tmp_path)).replace("-o 0 -g 0", "")
    subprocess.run([*shell, "-c", made], check=True, cwd=tmp_path)
    assert (tmp_path / "etc/notes").read_bytes() == text.encode()
    assert sorted(one.name for one in tmp_path.iterdir()) == ["etc"]


@pytest.mark.parametrize("name", NAMES)
def test_no_here_document_of_a_checklist_ends_before_its_content(name: str, tmp_path: Path) -> None:
    for part in stage_text.parts(planned(plan(name, tmp_path))):
        for told in part.actions:
            for one in told.work:
                if isinstance(one, Commands):
                    text = "\n".join(one.lines)
                    marks = re.findall(r"<<'(.+)'$", text, re.MULTILINE)
                    assert all(text.split("\n").count(mark) == marks.count(mark) for mark in marks), text


# --- the medium's commands -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_medium_is_asked_for_commands_only(name: str, tmp_path: Path) -> None:
    made = planned(plan(name, tmp_path))
    listed = live_instructions.tools(made, stage_text.parts(made))
    known = (ROOT / "tests/commands.txt").read_text().split()
    assert [one for one in listed if one not in known] == []


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("a | b && c; d", "a b c d"),
        ('x=$(a "$y") && [ "$(b c)" = d ] && e', "a b e"),
        ("cat > /f <<'END'\nlabel: gpt\nEND\nb", "cat b"),
        ("( cd /x && a )   # b", "a"),
        ("awk '/x/ { print | \"sort\" }' f", "awk"),
        ("for one in a b; do c; done | d", "c d"),
        ("chroot /mnt/target passwd ana", "chroot"),
        ("a || b", ""),
        ("LC_ALL=C a", "a"),
        ("none x a b", ""),
    ],
)
def test_names_of_commands_are_read_off_what_is_typed(text: str, found: str) -> None:
    assert set(live_instructions.names(text)) == set(found.split())


def test_a_look_by_exit_status_is_shown_as_yes() -> None:
    [line] = manual_checks.asking(Succeeds(argv=("true",)))
    assert subprocess.run(["sh", "-c", line], capture_output=True, check=False).stdout == b"yes\n"


def test_a_plan_without_looks_types_no_helpers() -> None:
    [told] = stage_text.parts(graph(action("demo.work")))[2].actions
    assert told.typed == () and told.action.stage is Stage.LIVE
