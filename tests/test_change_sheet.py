"""What a person is told of a change: checklist and page speak of the change and of nothing that only an installation
has; what is asked before it begins is asked by commands that print a line only if it holds (tried under sh)."""

from __future__ import annotations

import html
import re
import subprocess
from pathlib import Path

import pytest

from bedplate import build
from bedplate.actions import NOTHING_TO_UNDO, Call, Disk
from bedplate.changes import amend
from bedplate.cli import main
from bedplate.comparing.change_graph import change_graph
from bedplate.comparing.retarget import retarget
from bedplate.compiling.pipeline import render
from bedplate.conditions import file_is, file_mode_is, link_is
from bedplate.rendering import manual_checks, shell_helpers
from comparing import Edit, compared, registry

ALONE: list[Edit] = [
    ('[[disk.new]]\nname = "swap"\nsize = "8GiB"\nfilesystem = "swap"\nlabel = "kelp-swap"\n', ""),
    ('[[disk.new]]\nname = "home"\nsize = "rest"\nfilesystem = "ext4"\nlabel = "kelp-home"\nmount = "/home"\n', ""),
]
DATA: Edit = ("", '[[disk.new]]\nname = "readings"\nsize = "20GiB"\nfilesystem = "ext4"\nmount = "/srv/readings"\n')
KEYMAP: Edit = ('keymap = "uk"', 'keymap = "de"')
LOADER: Edit = ("", '[bootloader]\nname = "kelp"\n')


def told(old: list[Edit], new: list[Edit], rendering: str = "checklist") -> str:
    text = render(registry().renderers[rendering], change_graph(compared(old, new), partly=True))
    if rendering == "page":
        text = html.unescape(re.sub(r"<[^>]+>", "", text[text.index("<main") :]))
    return text


@pytest.mark.parametrize("rendering", ["checklist", "page"])
def test_a_change_speaks_of_the_change_alone(rendering: str) -> None:
    text = told([], [KEYMAP], rendering)
    for wrong in (
        "whole installation",
        "was installed",
        "gets a Linux system",
        "old.toml to new.sh",
        "partition table",
        "What is erased",
        "The disk before",
        "second stick",
        "another stick",
        "/mnt/target",
    ):
        assert wrong not in text
    plain = text.replace("*", "").replace("`", "")
    assert "kelp-02 is changed from old.toml to new.toml" in plain
    assert "console keymap de replaces uk" in plain
    assert "was changed from old.toml to new.toml" in plain
    assert "bedplate diff old.toml new.toml --as script --out change.sh" in plain
    assert "sh change.sh --undo" in plain
    assert "bedplate compile new.toml --out new.md" in plain


def test_only_stages_with_work_are_shown() -> None:
    heads = re.findall(r"^## Stage (.*), kelp-02", told([], [KEYMAP]), re.MULTILINE)
    assert heads == ["1: On the installed machine", "2: In the end"]


def test_the_page_of_a_change_is_called_one() -> None:
    whole = render(registry().renderers["page"], change_graph(compared([], [KEYMAP])))
    assert "<title>kelp-02: change sheet</title>" in whole and "nstallation sheet" not in whole


def test_the_disk_is_shown_where_it_changes() -> None:
    assert "The disk after:" in told(ALONE, [*ALONE, DATA])


@pytest.mark.parametrize("rendering", ["checklist", "page"])
def test_a_change_in_part_says_what_it_leaves_out_and_offers_no_script(rendering: str) -> None:
    text = told([], [KEYMAP, LOADER], rendering)
    left = text[text.index("What this leaves out") : text.index("Have a backup")]
    assert "oot loader folder: kelp instead of saltmarsh: from a live medium, not by a change script" in left
    assert "console keymap" not in left
    assert "change.sh" not in text and "he script does" not in text
    assert "the way back of each action that was done" in text


def test_specs_of_one_name_are_told_apart_in_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = Path(__file__).parent.parent / "specs"
    for folder, word in (("a", "uk"), ("b", "de")):
        (tmp_path / folder).mkdir()
        for name in ("common.toml", "kelp-02.survey.toml"):
            (tmp_path / folder / name).write_text((source / name).read_text())
        text = (source / "kelp-02.toml").read_text().replace('keymap = "uk"', f'keymap = "{word}"')
        (tmp_path / folder / "kelp-02.toml").write_text(text)
    main.main(["diff", *(str(tmp_path / folder / "kelp-02.toml") for folder in "ab"), "--as", "checklist"])
    assert "bedplate diff old/kelp-02.toml new/kelp-02.toml --as script" in capsys.readouterr().out


def test_what_is_left_out_is_not_noted_as_done() -> None:
    diff = compared([], [LOADER])
    assert diff.blocking and not change_graph(diff, partly=True).nodes
    assert "Nothing to do here." in told([], [LOADER])


def test_where_nothing_changes_that_is_said() -> None:
    assert "Nothing changes on it." in told([], [])


# --- commands that ask -----------------------------------------------------------------------------------------------


def asked(lines: list[str]) -> list[str]:
    said = [
        f"{text}\n{line}"
        for text in ("\n".join(shell_helpers.definitions(shell_helpers.HELPERS, None)),)
        for line in lines
    ]
    return [subprocess.run(["sh", "-c", line], capture_output=True, text=True, check=False).stdout for line in said]


@pytest.mark.parametrize("content", ["rope\n", "no line end", "", "größe 'x' $(y) \\n\n", "a\tb\n\n"])
def test_a_file_is_asked_for_by_commands_that_print_only_if_it_holds(content: str, tmp_path: Path) -> None:
    path = tmp_path / "it's a file"
    write = build.write_file("moor.file", str(path), content, title="Write", reason="So.")
    [check] = retarget(write).proofs
    lines = manual_checks.asking(check.test)
    assert asked(lines) == ["", ""]
    path.write_text(content, encoding="utf-8")
    path.chmod(0o644)
    assert all(asked(lines))
    path.write_text(content + " ", encoding="utf-8")
    assert [bool(said) for said in asked(lines)] == [False, True]
    path.chmod(0o600)
    assert asked(lines) == ["", ""]


def test_mode_and_link_are_asked_for_in_the_same_way(tmp_path: Path) -> None:
    path, link = tmp_path / "file", tmp_path / "link"
    path.write_text("x")
    path.chmod(0o640)
    link.symlink_to("file")
    owner = f"{path.stat().st_uid}:{path.stat().st_gid}"
    for check, holds in (
        (file_mode_is(str(path), 0o640, owner), True),
        (file_mode_is(str(path), 0o600, owner), False),
        (link_is(str(link), "file"), True),
        (link_is(str(link), "other"), False),
    ):
        action = build.run("moor.x", "true", title="x", reason="x", proofs=(check,), way_back=NOTHING_TO_UNDO)
        [line] = manual_checks.asking(retarget(action).proofs[0].test)
        assert bool(asked([line])[0]) is holds


def test_a_file_that_names_the_disk_is_read_by_a_person() -> None:
    test = file_is("/etc/moor", (Disk(), "\n")).test
    assert isinstance(test, Call) and manual_checks.asking(test)[1] == "cat /mnt/target/etc/moor"


def test_a_unit_is_asked_for_by_its_state(tmp_path: Path) -> None:
    service = build.enable_service("moor.service", "moor.service", title="x", reason="x")
    [check] = retarget(service).proofs
    [gone] = retarget(amend({service.id: service}, {}, service.id)[0]).proofs
    fake = tmp_path / "systemctl"
    for state, on, off in (
        ("enabled", True, False),
        ("static", True, True),
        ("disabled", False, True),
        ("not-found", False, True),
    ):
        fake.write_text(f"#!/bin/sh\necho {state}\n")
        fake.chmod(0o755)
        for one, holds in ((check, on), (gone, off)):
            [line] = manual_checks.asking(one.test)
            assert bool(asked([f"PATH={tmp_path}:$PATH; {line}"])[0]) is holds


def test_what_is_gone_is_asked_for(tmp_path: Path) -> None:
    write = build.write_file("moor.file", str(tmp_path / "a file"), "x", title="Write", reason="So.")
    [gone] = retarget(amend({write.id: write}, {}, write.id)[0]).proofs
    lines = manual_checks.asking(gone.test)
    assert asked(lines) == ["yes\n"]
    (tmp_path / "a file").symlink_to("nowhere")
    assert asked(lines) == [""]
