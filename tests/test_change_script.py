"""The change script carried out in a sandbox: it proves the old state first, changes, continues, and goes back."""

from __future__ import annotations

from pathlib import Path

import pytest
from attrs import evolve

from bedplate.actions import Action, InTarget, Stage, WayBack, WriteFile
from bedplate.changes import amend, stamp
from bedplate.install_graph import ChangeGraph
from bedplate.linking.link import Owned, link
from bedplate.rendering import script
from bedplate.spec import Machine
from library import LIBRARY
from rendering import SHELLS, Sandbox, writing

OLD = {
    one.id: one
    for one in (
        writing("demo.name", "/etc/name", "limpet\n", stage=Stage.TARGET),
        writing("demo.gone", "/etc/gone", "old\n", stage=Stage.TARGET),
        writing("demo.stamped", "/etc/stamped", "one\n", stage=Stage.TARGET, stamped=True),
    )
}
NEW = {
    one.id: one
    for one in (
        writing("demo.name", "/etc/name", "kelp's $(touch BROKEN)\n", stage=Stage.TARGET),
        writing("demo.stamped", "/etc/stamped", "two\n", stage=Stage.TARGET, stamped=True),
        writing("demo.made", "/etc/made", "new\n", stage=Stage.TARGET),
    )
}


PAPERS = {"new.toml": "new = 1\n", "kelp-02.survey.toml": "format = 1\n"}
"""Spec and survey of NEW."""


def change(old: dict[str, Action], new: dict[str, Action]) -> str:
    ids = tuple(dict.fromkeys((*new, *old)))
    nodes, tools = link([Owned(action=one, section="demo", origin="demo 1.0") for one in amend(old, new, *ids)])
    text = script.render(
        ChangeGraph(
            spec_file="new.toml",
            old_spec_file="old.toml",
            machine=Machine(name="kelp-02"),
            survey=None,
            nodes=nodes,
            tools=tools,
            library=LIBRARY,
            source_files={name: text.encode() for name, text in PAPERS.items()},
        )
    )
    return text.replace("\nTARGET=''", "\nTARGET=/mnt/target", 1)


@pytest.fixture
def sandbox(tmp_path: Path) -> Sandbox:
    """A machine as OLD says."""
    box = Sandbox(tmp_path / "box")
    (box.target / "etc").mkdir()
    for action in OLD.values():
        for item in action.operations:
            assert isinstance(item, WriteFile) and isinstance(item.path, InTarget)
            (box.target / item.path.path[1:]).write_text("".join(map(str, item.content)))
    stamps = box.target / "var/lib/bedplate/stamps"
    stamps.mkdir(parents=True)
    (stamps / "demo.stamped").write_text(f"{stamp(OLD['demo.stamped']).args[1]}\n")
    papers = box.target / "var/lib/bedplate/specs/old-digest"
    papers.mkdir(parents=True)
    (papers / "old.toml").write_text("old = 1\n")
    (box.target / "var/lib/bedplate/spec").symlink_to("specs/old-digest")
    return box


def state(box: Sandbox) -> dict[str, str]:
    files = [path for path in sorted(box.target.rglob("*")) if path.is_file()]
    return {str(path.relative_to(box.target)): path.read_text() for path in files}


def without_papers(files: dict[str, str]) -> dict[str, str]:
    """All but the spec of NEW, which stays as one of those the machine had."""
    return {path: text for path, text in files.items() if "/specs/" not in path or "/old-digest/" in path}


@pytest.mark.parametrize("shell", SHELLS)
def test_it_changes_continues_and_goes_back(sandbox: Sandbox, shell: str) -> None:
    before, text = state(sandbox), change(OLD, NEW)
    ran = sandbox.run(text, shell)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    after = state(sandbox)
    assert after["etc/name"] == "kelp's $(touch BROKEN)\n" and after["etc/made"] == "new\n"
    assert "etc/gone" not in after and after["etc/stamped"] == "two\n"
    assert after["var/lib/bedplate/stamps/demo.stamped"] == f"{stamp(NEW['demo.stamped']).args[1]}\n"
    spec = sandbox.target / "var/lib/bedplate/spec"
    assert {one.name: one.read_text() for one in spec.iterdir()} == PAPERS
    assert (sandbox.target / "var/lib/bedplate/spec.before/old.toml").read_text() == "old = 1\n"
    again = sandbox.run(text, shell)
    assert state(sandbox) == after
    assert again.returncode == 0 and again.stdout.count("already done, skipped") == 4
    back = sandbox.run(text, shell, options=["--undo"])
    assert back.returncode == 0, back.stdout + back.stderr
    assert without_papers(state(sandbox)) == before
    assert [one.name for one in spec.iterdir()] == ["old.toml"]
    assert sandbox.run(text, shell, options=["--undo"]).returncode == 0
    assert without_papers(state(sandbox)) == before
    assert not list((sandbox.folder / "work").iterdir())


@pytest.mark.parametrize("shell", SHELLS)
def test_a_change_that_was_never_carried_out_takes_nothing_back(sandbox: Sandbox, shell: str) -> None:
    (sandbox.target / "etc/made").write_text("made by hand\n")
    before = state(sandbox)
    back = sandbox.run(change(OLD, NEW), shell, options=["--undo"])
    assert back.returncode == 0 and "nothing to take back" in back.stdout, back.stdout
    assert state(sandbox) == before


@pytest.mark.parametrize("shell", SHELLS)
def test_what_held_before_the_change_is_not_taken_back(sandbox: Sandbox, shell: str) -> None:
    (sandbox.target / "etc/made").write_text("new\n")
    text = change(OLD, NEW)
    assert sandbox.run(text, shell).returncode == 0
    assert sandbox.run(text, shell, options=["--undo"]).returncode == 0
    after = state(sandbox)
    assert after["etc/made"] == "new\n" and "etc/gone" in after


@pytest.mark.parametrize("shell", SHELLS)
def test_what_somebody_has_changed_since_is_named_and_stays(sandbox: Sandbox, shell: str) -> None:
    before, text = state(sandbox), change(OLD, NEW)
    assert sandbox.run(text, shell).returncode == 0
    (sandbox.target / "etc/made").write_text("and a line of the keeper's\n")
    for _ in range(2):  # the rest has gone; what was left is left again
        back = sandbox.run(text, shell, options=["--undo"])
        assert back.returncode == 1 and "changed since; not so any more" in back.stdout, back.stdout
        after = state(sandbox)
        assert after["etc/made"] == "and a line of the keeper's\n"
        assert all(after[path] == text for path, text in before.items())


@pytest.mark.parametrize("shell", SHELLS)
def test_a_way_back_of_a_change_that_is_cut_short_is_walked_again(sandbox: Sandbox, shell: str) -> None:
    before, text = state(sandbox), change(OLD, NEW)
    assert sandbox.run(text, shell).returncode == 0
    name = next(line for line in text.splitlines() if line.startswith("back_1_"))
    wall = f"{name}\n    run false || return 1\n}}\n"
    broken = text.replace(name, f"old_{name}", 1).replace("# --- actions:", f"{wall}# --- actions:", 1)
    assert sandbox.run(broken, shell, options=["--undo"]).returncode == 1
    spec = sandbox.target / "var/lib/bedplate/spec"
    assert [one.name for one in spec.iterdir()] == ["old.toml"], "it counts as carried out no more"
    assert sandbox.run(text, shell, options=["--undo"]).returncode == 0
    assert without_papers(state(sandbox)) == before


def test_a_machine_that_is_not_what_old_says_is_refused_and_told(sandbox: Sandbox) -> None:
    (sandbox.target / "etc/name").write_text("somebody changed this\n")
    (sandbox.target / "etc/gone").write_text("and this\n")
    before = state(sandbox)
    ran = sandbox.run(change(OLD, NEW))
    assert ran.returncode == 1
    assert "/etc/name is as planned" in ran.stdout and "/etc/gone is as planned" in ran.stdout
    assert "not what the old spec says" in ran.stdout and "Nothing was changed." in ran.stdout
    assert state(sandbox) == before


def test_what_the_change_does_not_touch_is_not_looked_at(sandbox: Sandbox) -> None:
    (sandbox.target / "etc/stamped").write_text("somebody changed this\n")
    new = {**NEW, "demo.stamped": OLD["demo.stamped"]}
    assert sandbox.run(change(OLD, new)).returncode == 0


def test_a_half_done_change_is_continued(sandbox: Sandbox) -> None:
    (sandbox.target / "etc/name").write_text("kelp's $(touch BROKEN)\n")
    ran = sandbox.run(change(OLD, NEW))
    assert ran.returncode == 0 and ran.stdout.count("already done, skipped") == 1


def test_another_machine_is_refused(sandbox: Sandbox) -> None:
    text = change(OLD, NEW).replace("ROOT_UUID=''", "ROOT_UUID=0b0c1a5e-0000-4000-8000-000000000000")
    ran = sandbox.run(text)
    assert ran.returncode == 1 and "This is not the installed kelp-02" in ran.stdout


def test_a_file_that_another_action_still_writes_is_not_removed() -> None:
    moved = evolve(OLD["demo.gone"], id="demo.moved")
    [_, gone] = amend(OLD, {"demo.moved": moved}, "demo.moved", "demo.gone")
    assert not any("/etc/gone" in str(item) for item in gone.operations)


def test_the_way_back_of_something_new_removes_it() -> None:
    plain = evolve(NEW["demo.made"], way_back=WayBack(note="It goes with the root.", goes_with="filesystem:/"))
    [made] = amend({}, {"demo.made": plain}, "demo.made")
    assert "/etc/made" in str(made.way_back.operations) and made.way_back.note != plain.way_back.note
