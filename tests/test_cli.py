"""The command line: exit statuses, streams, formats, files."""

from __future__ import annotations

import json
import os
import pty
import re
import shutil
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
import tomli_w

from bedplate.cli.main import main

ROOT = Path(__file__).resolve().parent.parent
KELP = str(ROOT / "specs" / "kelp-02.toml")


@pytest.fixture
def bad(tmp_path: Path) -> str:
    """A spec with two faults."""
    spec = tmp_path / "bad.toml"
    for name in ("common.toml", "kelp-02.survey.toml"):
        shutil.copy(ROOT / "specs" / name, tmp_path)
    text = Path(KELP).read_text()
    spec.write_text(text.replace('keymap = "uk"', 'keymop = "uk"').replace('name = "kelp-02"', 'name = "Kelp_02"'))
    return str(spec)


def test_check_tells_all_faults_and_exits_with_1(bad: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", bad]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert "nearest: keymap" in err
    assert "machine.name" in err
    assert "1 spec: 2 faults" in err


def test_check_as_json_is_data_on_standard_output(bad: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", bad, "--format", "json"]) == 1
    out, err = capsys.readouterr()
    assert err == ""
    faults = json.loads(out)
    assert [fault["severity"] for fault in faults] == ["fault", "fault"]
    assert all(fault["line"] and fault["column"] and fault["message"] for fault in faults)


WHOLE = ("--also-from", str(ROOT / "tests/corpus"))


def crowded(folder: Path, make: Callable[[int], str], number: int) -> str:
    """A spec over a sound one, with `number` faulty pieces."""
    spec = folder / f"crowded-{number}.toml"
    base = ROOT / "tests" / "corpus" / "whole.toml"
    spec.write_text(f'extends = "{base}"\n' + "".join(map(make, range(number))))
    return str(spec)


def test_of_very_many_faults_the_first_are_told_and_the_rest_counted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    spec = crowded(tmp_path, lambda index: f"[strange-{index:03d}]\n", 300)
    assert main(["check", *WHOLE, spec]) == 1
    err = capsys.readouterr().err
    assert err.count("[unknown-section]") == 200
    assert "strange-199" in err and "strange-200" not in err
    assert err.splitlines()[-2:] == [
        "... and 100 more; of a spec `bedplate check --format json` tells all",
        "1 spec: 300 faults",
    ]
    assert main(["check", *WHOLE, spec, "--format", "json"]) == 1
    assert len(json.loads(capsys.readouterr().out)) == 300


def test_of_very_many_warnings_and_a_fault_the_fault_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    part = '[[disk.new]]\nname = "p{0}"\nsize = "1MiB"\nfilesystem = "vfat"\nlabel = "p{0}"\n'
    assert main(["check", *WHOLE, crowded(tmp_path, lambda index: part.format(index) if index else "", 300)]) == 1
    err = capsys.readouterr().err
    assert "... and " in err and "table-full" in err


@pytest.mark.parametrize(
    "piece",
    [
        '[[users.people]]\nname = "A{}"\nhome = "/home/a"\n',
        '[[users.people]]\nname = "a{}"\nstrange = 1\n',
        "[strange-{}]\n",
    ],
)
def test_the_time_a_check_takes_grows_with_the_faults_not_with_their_square(
    piece: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    took = {}
    for number in (1000, 1500, 12_000):  # the first only loads what finding faults takes
        spec = crowded(tmp_path, piece.format, number)
        start = time.process_time()
        assert main(["check", *WHOLE, spec]) == 1
        took[number] = time.process_time() - start
    assert took[12_000] < 4 * 8 * took[1500]  # a square would be 64 times


def test_compile_writes_nothing_when_one_of_several_specs_has_a_fault(bad: str, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert main(["compile", KELP, bad, "--out", str(out)]) == 1
    assert not out.exists()


def test_compile_of_several_specs_needs_a_directory(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compile", KELP, KELP.replace("kelp-02", "tern-04")]) == 2
    assert "--out DIR" in capsys.readouterr().err


def test_an_unknown_rendering_is_told_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compile", KELP, "--as", "skript"]) == 2
    assert "nearest: script" in capsys.readouterr().err


def test_a_graph_becomes_a_picture_when_the_path_says_so(tmp_path: Path) -> None:
    """Graphviz's own reading of the DOT text is the judge that it is DOT."""
    assert main(["compile", KELP, "--as", "graph", "--out", str(tmp_path / "kelp.svg")]) == 0
    assert "</svg>" in (tmp_path / "kelp.svg").read_text()


def test_an_output_that_cannot_be_written_is_trouble(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compile", KELP, "--out", "/proc/no/such/file.md"]) == 2
    assert "/proc/no/such" in capsys.readouterr().err


def test_a_script_is_executable(tmp_path: Path) -> None:
    assert main(["compile", KELP, "--as", "script", "--out", str(tmp_path / "k.sh")]) == 0
    assert os.access(tmp_path / "k.sh", os.X_OK)


@pytest.mark.parametrize("arguments", [[], ["chek"], ["check"], ["check", KELP, "--format", "yaml"]])
def test_wrong_usage_is_two_lines_and_exit_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    assert capsys.readouterr().err.count("\n") == 2


COMMANDS = ["check", "compile", "survey", "draft", "steps", "schema", "completion"]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_that_says_what_it_does(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, "--help"]) == 0
    assert len(capsys.readouterr().out.splitlines()) > 5


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_stands_in_the_readme(command: str) -> None:
    assert f"`bedplate {command}" in (ROOT / "README.md").read_text()


def test_steps_lists_all_sections(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["steps", "--format", "json"]) == 0
    found = json.loads(capsys.readouterr().out)
    wanted = {"base", "disk", "clock", "locale", "network", "users", "bootloader"}
    assert {row["section"] for row in found["steps"]} >= wanted
    assert found["broken"] == []


def test_completion_is_shell_text(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", "bash"]) == 0
    script = capsys.readouterr().out
    assert subprocess.run(["bash", "-n"], input=script, text=True, check=False).returncode == 0


def test_collector_is_posix_shell(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["survey", "--collector"]) == 0
    script = capsys.readouterr().out
    assert subprocess.run(["dash", "-n"], input=script, text=True, check=False).returncode == 0


def test_what_the_readme_adds_to_a_draft_is_without_fault(tmp_path: Path) -> None:
    survey, spec = tmp_path / "kelp.survey.toml", tmp_path / "kelp.toml"
    assert main(["survey", "--from", str(ROOT / "tests/captures/kelp-02.txt"), "--out", str(survey)]) == 0
    assert main(["draft", str(survey), "--out", str(spec)]) == 0
    whole = tomllib.loads(spec.read_text())
    [block] = re.findall(r"```toml\n(.*?)```", (ROOT / "README.md").read_text(), re.DOTALL)
    more = tomllib.loads(block)
    whole["disk"]["new"] = more["disk"]["new"]
    whole["network"]["links"] += more["network"]["links"]
    whole["users"]["people"] += more["users"]["people"]
    whole["bootloader"] |= more["bootloader"]
    whole["disk"]["other_system"]["recovery_key_place"] = "safe"
    assert {"disk", "network", "users", "bootloader"} == set(more)
    spec.write_text(tomli_w.dumps(whole))
    assert main(["check", str(spec)]) == 0


def test_a_folder_that_is_not_there_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "none"
    assert main(["compile", str(ROOT / "specs/kelp-02.toml"), "--out", str(folder / "x.md")]) == 2
    assert capsys.readouterr().err.endswith(f"bedplate: {folder}: there is no such folder; make it first\n")


def test_survey_of_a_capture_then_draft_then_check(tmp_path: Path) -> None:
    survey, spec = tmp_path / "kelp.survey.toml", tmp_path / "kelp.toml"
    assert main(["survey", "--from", str(ROOT / "tests/captures/kelp-02.txt"), "--out", str(survey)]) == 0
    assert main(["draft", str(survey), "--out", str(spec)]) == 0
    assert main(["check", str(spec)]) == 1  # where the recovery key is kept, only a person knows
    spec.write_text(spec.read_text().replace('# recovery_key_place = "..."', 'recovery_key_place = "safe"'))
    assert main(["check", str(spec)]) == 0


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("missing", "bedplate: missing: No such file or directory\n"),
        ("/", "bedplate: /: Is a directory\n"),
        ("/dev/null", "/dev/null: this is a device, not a file"),
    ],
)
def test_a_capture_that_is_none_is_told_so(name: str, words: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["survey", "--from", name]) in (1, 2)
    out, err = capsys.readouterr()
    assert out == "" and err.startswith(words) and "Traceback" not in err


def survey_here(user: int, environment: dict[str, str]) -> subprocess.CompletedProcess[str]:
    """`bedplate survey` of this machine, by a user, everything imported before rights are given up."""
    program = (
        "import contextlib, io, os, sys\nfrom bedplate.cli import main\n"
        "with contextlib.redirect_stdout(io.StringIO()):\n"
        "    assert main.main(['survey', '--from', 'tests/captures/kelp-02.txt']) == 0\n"
        "    assert main.main(['survey', '--collector']) == 0\n"
        f"os.setuid({user})\nsys.exit(main.main(['survey']))\n"
    )
    environment = {**os.environ, "PYTHONPATH": "compiler:plugins:schema", **environment}
    return subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False, cwd=ROOT, env=environment
    )


def test_a_survey_tells_what_it_looks_at_and_what_it_could_not_read() -> None:
    ran = survey_here(os.getuid(), {})
    assert "[machine]" in ran.stdout
    assert ran.returncode == (1 if "bedplate: TROUBLE: " in ran.stderr else 0)
    assert "collector: looking at the machine" in ran.stderr and "collector: done" in ran.stderr


@pytest.mark.skipif(os.getuid() != 0, reason="only root can give up its rights")
def test_a_survey_without_root_says_so_in_words() -> None:
    ran = survey_here(65534, {})
    assert ran.returncode == 1 and "[machine]" in ran.stdout
    assert "collector: not run as root" in ran.stderr and "collector: done, but NOT as root" in ran.stderr
    assert "bedplate: TROUBLE: " in ran.stderr
    assert "bedplate: note: not run as root: partition tables" in ran.stderr
    assert "Traceback" not in ran.stderr


def test_a_survey_is_summed_up_and_a_file_that_is_there_is_kept(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    survey, spec = tmp_path / "kelp-02.survey.toml", tmp_path / "kelp-02.toml"
    making = ["survey", "--from", str(ROOT / "tests/captures/kelp-02.txt"), "--out", str(survey)]
    drafting = ["draft", str(survey), "--out", str(spec)]
    for command, path in ((making, survey), (drafting, spec)):
        assert main(command) == 0
        err = capsys.readouterr().err
        assert "bedplate: 1 disk, 4 partitions, 2 network cards; firmware uefi, Secure Boot off\n" in err
        written = path.read_text()
        path.write_text(edited := written + "# edited\n")
        assert main(command) == 2
        assert "stays as it is; --force replaces it" in capsys.readouterr().err
        assert path.read_text() == edited
        assert main([*command, "--force"]) == 0
        assert path.read_text() == written
        capsys.readouterr()


def test_a_disk_that_was_not_read_gets_no_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (ROOT / "tests/captures/kelp-02.txt").read_text()
    text = re.sub(r"^== (table\S* \S+)\n(?:\| .*\n)*", r"!! \1: sfdisk: cannot open\n", text, flags=re.MULTILINE)
    taken, survey, spec = (tmp_path / name for name in ("capture.txt", "kelp-02.survey.toml", "kelp-02.toml"))
    taken.write_text(text)
    assert main(["survey", "--from", str(taken), "--out", str(survey)]) == 1
    assert "bedplate: TROUBLE: /dev/nvme0n1 was not read" in capsys.readouterr().err
    assert main(["draft", str(survey), "--out", str(spec)]) == 1
    assert "bedplate: TROUBLE: /dev/nvme0n1 was not read" in capsys.readouterr().err
    drafted = spec.read_text()
    assert "no disk was read, so nobody knows" in drafted and "it was not read during the survey" in drafted
    assert 'table = "new"' not in drafted and "[[disk.new]]" not in drafted
    assert main(["check", str(spec)]) == 1
    whole = Path(ROOT / "tests/corpus/whole.toml").read_text()
    spec.write_text(whole.replace("whole.survey.toml", str(survey)).replace("SM-SATA-0101", "SM-NVME-0217"))
    assert main(["check", str(spec)]) == 1
    assert "[table-unread]" in capsys.readouterr().err


def test_a_disk_nothing_tells_apart_is_said_to_be_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    survey = tmp_path / "odd.survey.toml"
    survey.write_text(
        'format = 1\n[machine]\narchitecture = "amd64"\n[firmware]\nmode = "uefi"\n'
        '[[disks]]\npath = "/dev/vda"\nsize_bytes = 68719476736\nreadable = true\n'
    )
    assert main(["draft", str(survey)]) == 0
    out, err = capsys.readouterr()
    assert "cannot be told apart" in err and "cannot be told apart" in out.split("[disk]")[1]
    assert "model" not in tomllib.loads(out)["disk"]
    assert "named odd after the file of the survey; --name gives another" in err


@pytest.mark.parametrize("command", ["check", "compile"])
def test_a_file_that_is_not_there_is_trouble_also_among_others(command: str) -> None:
    assert main([command, str(ROOT / "tests/corpus/whole.toml"), "/no/such/spec.toml"]) == 2


@pytest.mark.parametrize("name", ["x.png", "x.pdf", "x.md"])
def test_a_graph_is_not_written_under_the_name_of_a_picture(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compile", KELP, "--as", "graph", "--out", str(tmp_path / name)]) == 2
    assert ".svg" in capsys.readouterr().err and list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_tells_its_exit_status(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, "--help"]) == 0
    assert "Exit status: 0 " in capsys.readouterr().out


@pytest.mark.parametrize("shell", ["bash", "zsh", "tcsh"])
def test_completion_offers_the_renderings(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", shell]) == 0
    out = capsys.readouterr().out
    assert all(name in out for name in ("checklist", "page", "script", "audit"))


def test_compile_tells_each_warning_in_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    spec = str(ROOT / "tests/corpus/whole.toml")
    assert main(["compile", spec]) == 0
    err = capsys.readouterr().err.splitlines()
    assert [line.startswith("warning: ") for line in err] == [True, False]
    assert "everything-lost" in err[0] and f"bedplate check {spec}" in err[1]


def test_a_collector_that_stops_is_trouble() -> None:
    ran = survey_here(os.getuid(), {"TMPDIR": "/no/such/folder"})
    assert ran.returncode == 2 and ran.stdout == ""
    assert "bedplate: the collector stopped with exit status 2" in ran.stderr


def test_a_reader_that_goes_away_is_no_crash() -> None:
    line = f"{sys.executable} -m bedplate.cli compile {KELP} 2>/dev/null | head -n 1"
    environment = {**os.environ, "PYTHONPATH": "compiler:plugins:schema"}
    ran = subprocess.run(["sh", "-c", line], capture_output=True, text=True, check=True, cwd=ROOT, env=environment)
    assert ran.stdout.startswith("# kelp-02")
    assert ran.stderr == ""


@pytest.mark.parametrize(("variables", "coloured"), [({}, True), ({"NO_COLOR": "1"}, False), ({"TERM": "dumb"}, False)])
def test_colour_only_on_a_terminal_that_wants_it(bad: str, variables: dict[str, str], coloured: bool) -> None:
    """NO_COLOR as https://no-color.org describes it."""
    ours, theirs = pty.openpty()
    environment = {**os.environ, "TERM": "xterm", "PYTHONPATH": "compiler:plugins:schema", **variables}
    command = [sys.executable, "-m", "bedplate.cli", "check", bad]
    subprocess.run(command, stderr=theirs, env=environment, cwd=ROOT, check=False)
    os.close(theirs)
    assert (b"\033[" in os.read(ours, 65536)) is coloured


def test_a_change_that_needs_more_than_a_script_is_told_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    new = tmp_path / "new.toml"
    text = Path(KELP).read_text().replace('filesystem = "ext4"', 'filesystem = "xfs"')
    new.write_text(text)
    for name in ("common.toml", "kelp-02.survey.toml"):
        shutil.copy(ROOT / "specs" / name, tmp_path)
    assert main(["diff", KELP, str(new), "--as", "script"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "root gets the file system xfs instead of ext4: loses data, not by a change script [not-in-place]" in err
