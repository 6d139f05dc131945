"""Accidents with formatting: what was finished once, or is somebody else's, is made anew."""

from __future__ import annotations

import subprocess

from accidents.staging import Place, actions, caught_by, checks, planned, unseen, verb
from bedplate.actions import Action, Call, Check

LINUX = "0FC63DAF-8483-4772-8E79-3D69D8477DE4"
OURS, FS = "CCCCCCCC-2222-4333-8444-555555555555", "99999999-2222-4333-8444-555555555551"
MARK = "unfinished-readings"
BLOCK = {'[ ! -b "$v_node" ]': '[ ! -e "$v_node" ]'}
"""The verbs ask for a device node; a plain file stands for it here."""


def _place(name: str) -> Place:
    place = Place()
    place.table(f'start=2048, size=65536, type={LINUX}, uuid={OURS}, name="{name}"\n')
    part = place.put("disk1", b"\0" * (32 << 20))
    subprocess.run(["mkfs.ext4", "-q", "-F", "-U", FS, "-L", "readings", part], check=True)
    return place


def _makers() -> list[Action]:
    """Every action that makes a container or a file system, on each of two machines."""
    found = [*actions(planned("kelp-02")).values(), *actions(planned("tern-04")).values()]
    verbs = ("disk/make-filesystem", "disk/make-container")
    return [one for one in found if any(isinstance(item, Call) and item.verb in verbs for item in one.operations)]


def _word(check: Check, index: int) -> object:
    assert isinstance(check.test, Call)
    return check.test.args[index]


@caught_by(verb("disk/is-unfinished"), verb("disk/may-format"), unseen("verb:is-unfinished"), unseen("verb:may-format"))
def test_z01_a_file_system_was_relabelled() -> None:
    place = _place("readings")
    subprocess.run(["e2label", place.path / "disk1", "holiday"], check=True)
    said = place.says("disk/is-unfinished", OURS, MARK, OURS, "ext4", FS, "readings", moved=BLOCK)
    assert 'the partition "readings" is finished, and stays as it is' in said
    assert 'its label is "holiday", planned is "readings": set that on' in said
    assert "no unfinished one of ours" in place.says("disk/may-format", OURS, "ext4", FS, OURS, MARK, moved=BLOCK)
    makers = _makers()
    assert len(makers) > 4
    for one in makers:
        assert [check.early for check in checks(one, "disk/is-unfinished")] == [True], one.id
        assert [check.early for check in checks(one, "disk/may-format")] == [False], one.id


@caught_by(verb("disk/is-unfinished"), unseen("verb:is-unfinished"))
def test_z02_another_label_in_the_spec_and_compiled_anew() -> None:
    edited = actions(planned("kelp-02", spec=(('label = "kelp-root"', 'label = "kelp-new"'),)))["disk.format-root"]
    [guard] = checks(edited, "disk/is-unfinished")
    assert guard.early and _word(guard, 5) == "kelp-new" and "never made anew by a rerun" in guard.otherwise
    place = _place("readings")
    said = place.says("disk/is-unfinished", OURS, MARK, OURS, "ext4", FS, "kelp-new", moved=BLOCK)
    assert 'its label is "readings", planned is "kelp-new": set that on' in said
    assert "or write what it has into the spec" in said


@caught_by(verb("disk/may-format"), unseen("verb:may-format"))
def test_c08_mkfs_asked_nothing_and_overwrote_a_file_system() -> None:
    place = _place(MARK)
    place.holds("disk/may-format", OURS, "ext4", FS, OURS, MARK, moved=BLOCK)
    subprocess.run(["tune2fs", "-f", "-U", "random", place.path / "disk1"], check=True, capture_output=True)
    assert "holds something: type ext4" in place.says("disk/may-format", OURS, "ext4", FS, OURS, MARK, moved=BLOCK)
    assert all(checks(one, "disk/may-format") for one in _makers())


@caught_by(
    verb("disk/table-is-unfinished"),
    verb("disk/rows-may-be-added"),
    unseen("verb:table-is-unfinished"),
    unseen("verb:rows-may-be-added"),
)
def test_z41_a_table_was_made_anew_over_finished_partitions() -> None:
    place = _place("readings")
    place.put("fakes/lsblk", f"#!/bin/sh\necho {64 << 20} 512\n", 0o755)
    table = "11111111-2222-4333-8444-555555555555"
    said = place.says("disk/table-is-unfinished", table, OURS)
    assert f"{OURS} of this very plan is finished" in said
    other = OURS.replace("C", "D")
    lacking = place.says("disk/rows-may-be-added", OURS, MARK, other, "unfinished-home")
    assert lacking == f"finished: readings; not in the table: {other}\n"
    assert checks(actions(planned("limpet-01"))["disk.make-table"], "disk/table-is-unfinished")
    assert checks(actions(planned("kelp-02"))["disk.append-partitions"], "disk/rows-may-be-added")
