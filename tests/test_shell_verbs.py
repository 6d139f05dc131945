"""The runtime verbs: their form, and what the general ones do, under dash, bash and busybox.

Shell rules: POSIX.1-2017, XCU 2 (Shell Command Language); lint: shellcheck. The form of a verb is common practice of
this project.
"""

from __future__ import annotations

import os
import re
import subprocess
from pathlib import Path

import pytest

from bedplate.faults import Rejected
from bedplate.functions import SHARED
from bedplate.loading.shell_definitions import defined
from bedplate.rendering.quoting import quote
from bedplate.rendering.shell_runtime import part
from bedplate.testing.function_rules import HEAD, form
from library import LIBRARY
from rendering import OWNER, SHELLS

VERBS = LIBRARY.entries
_SCRATCH = re.compile(r"\bWORK/([a-z][a-z-]*)")


def call(shell: str, folder: Path, command: str, stdin: str = "") -> subprocess.CompletedProcess[str]:
    """Run one verb with the target at `folder`/target and the scratch folder at `folder`/work."""
    (folder / "target").mkdir(exist_ok=True)
    (folder / "work").mkdir(exist_ok=True)
    verb = command.split()[0]
    lines = [f"TARGET={folder}/target WORK={folder}/work DISK=", LIBRARY.text([verb])]
    text = "\n".join([*lines, f"{LIBRARY.call(verb)}{command.removeprefix(verb)}"])
    return subprocess.run(
        [*SHELLS[shell], "-c", f"set -u; umask 022; {text}"],
        input=stdin,
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )


@pytest.fixture(params=sorted(SHELLS))
def shell(request: pytest.FixtureRequest) -> str:
    """Each shell in turn."""
    return str(request.param)


# --- the form of every verb --------------------------------------------------------------------------------------


def test_there_are_verbs() -> None:
    assert len(VERBS) > 10


@pytest.mark.parametrize("verb", SHARED)
def test_a_function_of_the_compilers_is_in_form(verb: str) -> None:
    """Those of the steps, their conformance tests look at."""
    assert form(verb, LIBRARY) == []


def test_the_runtime_and_all_functions_together_are_clean(tmp_path: Path) -> None:
    parts = [part(name) for name in ("common", "run", "secrets", "look", "install", "undo", "report")]
    path = tmp_path / "verbs.sh"
    path.write_text("\n".join([HEAD, "LOCK=/run/lock/demo", *parts, LIBRARY.text(VERBS)]), encoding="utf-8")
    for command in (["shellcheck", "-s", "sh"], ["dash", "-n"], ["bash", "-n"], ["busybox", "sh", "-n"]):
        done = subprocess.run([*command, str(path)], capture_output=True, text=True, check=False)
        assert (done.returncode, done.stdout, done.stderr) == (0, "", ""), command


def test_no_two_verbs_define_the_same_function() -> None:
    names = [name for verb in VERBS for name in defined(LIBRARY[verb].text)]
    assert sorted(names) == sorted(set(names))


def test_a_verb_writes_no_file_of_the_runtime() -> None:
    """What a look prints goes to $WORK/found: a verb that keeps something of its own there garbles its own words."""
    told = {"left", "seen"}  # lists and copies that verbs make for the runtime
    names = {name: set(_SCRATCH.findall(part(name))) for name in ("common", "run", "look", "copies", "install")}
    names |= {name: set(_SCRATCH.findall(part(name))) for name in ("undo", "audit", "change", "report")}
    assert "found" in names["run"]
    runtime = set().union(*names.values()) - told
    assert {(verb, *both) for verb in VERBS if (both := runtime & set(_SCRATCH.findall(LIBRARY[verb].text)))} == set()


def test_an_unknown_verb_is_a_fault_with_the_nearest() -> None:
    with pytest.raises(Rejected) as caught:
        LIBRARY.text(["file-iss"])
    assert (caught.value.faults[0].code, caught.value.faults[0].nearest) == ("unknown-verb", "file-is")


# --- the general verbs -------------------------------------------------------------------------------------------


def test_write_file_makes_folders_and_leaves_nothing_beside(shell: str, tmp_path: Path) -> None:
    path = tmp_path / "target" / "etc" / "deep" / "file"
    done = call(shell, tmp_path, f"write-file {path} 600 {OWNER}", "text\n")
    assert (done.returncode, done.stderr) == (0, "")
    assert path.read_text() == "text\n"
    assert path.stat().st_mode & 0o7777 == 0o600
    assert path.parent.stat().st_mode & 0o7777 == 0o755
    assert [item.name for item in path.parent.iterdir()] == ["file"]


def test_write_file_replaces_a_link_and_not_what_it_points_to(shell: str, tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.write_text("kept")
    path = tmp_path / "target" / "file"
    path.parent.mkdir()
    path.symlink_to(outside)
    assert call(shell, tmp_path, f"write-file {path} 644 {OWNER}", "new").returncode == 0
    assert (outside.read_text(), path.read_text(), path.is_symlink()) == ("kept", "new", False)


def test_write_file_never_leaves_the_target(shell: str, tmp_path: Path) -> None:
    # /var/run is an absolute link to /run on installed systems: followed from outside it leads to the live system
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "target").mkdir()
    (tmp_path / "target" / "run").symlink_to(tmp_path / "elsewhere")
    done = call(shell, tmp_path, f"write-file {tmp_path}/target/run/file 644 {OWNER}", "new")
    assert done.returncode == 1
    assert "leads out of the target" in done.stderr
    assert not list((tmp_path / "elsewhere").iterdir())


def test_write_file_fails_when_the_disk_is_full(shell: str, tmp_path: Path) -> None:
    done = call(shell, tmp_path, f"write-file /dev/full/file 644 {OWNER}", "new")
    assert done.returncode == 1


@pytest.mark.parametrize(
    ("content", "mode", "holds"), [("text\n", "644", True), ("text", "644", False), ("text\n", "600", False)]
)
def test_file_is(shell: str, tmp_path: Path, content: str, mode: str, holds: bool) -> None:
    path = tmp_path / "file"
    path.write_text("text\n")
    path.chmod(0o644)
    done = call(shell, tmp_path, f"file-is {path} {mode}", content)
    assert (done.returncode == 0, done.stderr == "") == (holds, holds)


def test_file_is_wants_a_plain_file(shell: str, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to("/dev/null")
    assert call(shell, tmp_path, f"file-is {tmp_path}/link 644").returncode == 1
    assert call(shell, tmp_path, f"file-is {tmp_path}/missing 644").returncode == 1


def test_mode_is(shell: str, tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_text("")
    path.chmod(0o640)
    assert call(shell, tmp_path, f"mode-is {path} 640 {OWNER}").returncode == 0
    assert call(shell, tmp_path, f"mode-is {path} 600 {OWNER}").returncode == 1
    assert call(shell, tmp_path, f"mode-is {path} 640 {os.getuid() + 1}:0").returncode == 1
    assert call(shell, tmp_path, f"mode-is {tmp_path}/missing 640 {OWNER}").returncode == 1


def test_make_link_and_link_is(shell: str, tmp_path: Path) -> None:
    path = tmp_path / "target" / "etc" / "localtime"
    for to in ("../usr/share/zoneinfo/Europe/Lisbon", "/usr/share/zoneinfo/UTC"):
        assert call(shell, tmp_path, f"make-link {path} {to}").returncode == 0
        assert str(path.readlink()) == to
        assert call(shell, tmp_path, f"link-is {path} {to}").returncode == 0
        assert call(shell, tmp_path, f"link-is {path} {to}/other").returncode == 1
    assert [item.name for item in path.parent.iterdir()] == ["localtime"]


def test_make_link_does_not_replace_a_folder(shell: str, tmp_path: Path) -> None:
    (tmp_path / "target" / "folder").mkdir(parents=True)
    assert call(shell, tmp_path, f"make-link {tmp_path}/target/folder /x").returncode == 1
    assert (tmp_path / "target" / "folder").is_dir()


def test_make_link_replaces_a_link_to_a_folder(shell: str, tmp_path: Path) -> None:
    (tmp_path / "target" / "real").mkdir(parents=True)
    (tmp_path / "target" / "link").symlink_to("real")
    assert call(shell, tmp_path, f"make-link {tmp_path}/target/link other").returncode == 0
    assert str((tmp_path / "target" / "link").readlink()) == "other"


@pytest.mark.parametrize(("line", "holds"), [("a.c", True), ("abc", False), ("-x", True), ("a", False), ("", False)])
def test_has_line_is_whole_and_literal(shell: str, tmp_path: Path, line: str, holds: bool) -> None:
    (tmp_path / "file").write_text("first\na.c\n-x\n")
    done = call(shell, tmp_path, f"has-line {tmp_path}/file {quote(line)}")
    assert (done.returncode == 0) is holds


def test_tool_present(shell: str, tmp_path: Path) -> None:
    assert call(shell, tmp_path, "tool-present sed").returncode == 0
    done = call(shell, tmp_path, "tool-present no-such-tool")
    assert (done.returncode, "no-such-tool" in done.stderr) == (1, True)


def test_stamps(shell: str, tmp_path: Path) -> None:
    if os.getuid() != 0:
        pytest.skip("a stamp belongs to root, and these tests do not run as root")
    assert call(shell, tmp_path, "stamp-is base.install abc").returncode == 1
    assert call(shell, tmp_path, "put-stamp base.install abc").returncode == 0
    assert call(shell, tmp_path, "stamp-is base.install abc").returncode == 0
    done = call(shell, tmp_path, "stamp-is base.install abd")
    assert (done.returncode, "another version" in done.stderr) == (1, True)
    assert (tmp_path / "target/var/lib/bedplate/stamps/base.install").read_text() == "abc\n"


def test_service_enabled_on_a_plain_root(shell: str, tmp_path: Path) -> None:
    # systemd.unit(5): an enabled unit is a link below TARGET.wants; systemctl --root needs no running systemd
    units = tmp_path / "target" / "usr" / "lib" / "systemd" / "system"
    wants = tmp_path / "target" / "etc" / "systemd" / "system" / "multi-user.target.wants"
    units.mkdir(parents=True)
    wants.mkdir(parents=True)
    unit = "[Service]\nExecStart=/bin/true\n[Install]\nWantedBy=multi-user.target\n"
    (units / "demo.service").write_text(unit)
    assert call(shell, tmp_path, f"service-enabled {tmp_path}/target demo.service").returncode == 1
    (wants / "demo.service").symlink_to("/usr/lib/systemd/system/demo.service")
    assert call(shell, tmp_path, f"service-enabled {tmp_path}/target demo.service").returncode == 0


DISKS = """
case "$*" in
    *" -- "*)
        case "$*" in
            *SERIAL*a | *SERIAL*c) echo 'TW-500-3 ' ;;
            *SERIAL*b) echo OTHER ;;
            *MODEL*) echo ' Tidewater 500 ' ;;
            *SIZE,LOG-SEC*c) echo '        1000     512' ;;
            *SIZE,LOG-SEC*) echo '500107862016     512' ;;
        esac ;;
    *) printf '/dev/a\\n/dev/b\\n/dev/c\\n' ;;
esac
"""
"""Stands for lsblk(8) with three disks: two with one serial but different sizes, and a foreign one."""


@pytest.mark.parametrize(
    ("words", "node", "says"),
    [
        ("TW-500-3 '' '' 500107862016 512", "/dev/a", ""),
        ("OTHER '' 'Tidewater 500' 500107862016 512", "/dev/b", ""),
        ("TW-500-3 '' '' 1000 512", "/dev/c", ""),
        ("TW-500-3 '' '' '' 512", "", "two disks have this identity"),
        ("TW-500-3 '' '' 500107862016 4096", "", "no disk has this identity"),
        ("NONE '' '' 500107862016 512", "", "no disk has this identity"),
        ("'' '' 'Tidewater 500' 500107862016 512", "", "two disks have this identity"),
        ("TW-500-3 /dev/disk/by-id/none '' 500107862016 512", "", "no disk has this identity"),
    ],
)
def test_find_disk_by_identity_alone(shell: str, tmp_path: Path, words: str, node: str, says: str) -> None:
    fakes = tmp_path / "fakes"
    fakes.mkdir()
    (fakes / "lsblk").write_text("#!/bin/sh" + DISKS)
    (fakes / "lsblk").chmod(0o755)
    lines = [f"PATH={fakes}:$PATH TARGET= WORK={tmp_path}", LIBRARY.text(["find-disk"]), f"verb_find_disk {words}"]
    command = [*SHELLS[shell], "-c", "set -u; " + "\n".join(lines)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.stdout.strip(), done.returncode) == (node, 0 if node else 1)
    assert says in done.stderr
