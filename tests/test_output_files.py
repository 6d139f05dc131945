"""What --out may replace, and how: never an input, nothing of anybody else's, whole or not at all.

Devices, pipes and links as POSIX.1-2017 describes them (XBD 3, XBD 4.13); /dev/full: null(4), full(4). What counts as
one's own file is a rule of this project.
"""

from __future__ import annotations

import os
import resource
import shutil
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from bedplate.cli import output_files
from bedplate.cli.main import main

ROOT = Path(__file__).resolve().parent.parent
CAPTURE = ROOT / "tests/captures/kelp-02.txt"
RENDERINGS = ("checklist", "page", "script", "audit", "graph", "json")


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A folder with two machines of the station."""
    for name in ("kelp-02", "limpet-01"):
        shutil.copy(ROOT / f"specs/{name}.toml", tmp_path)
        shutil.copy(ROOT / f"specs/{name}.survey.toml", tmp_path)
    shutil.copy(ROOT / "specs/common.toml", tmp_path)
    (tmp_path / "next.toml").write_text((tmp_path / "kelp-02.toml").read_text().replace('"less", ', ""))
    return tmp_path


def in_process(
    *words: str, cwd: Path, prepare: str = "", env: dict[str, str] | None = None, **streams: object
) -> subprocess.CompletedProcess[str]:
    """The program in a process of its own."""
    program = f"import os, resource, sys\nfrom bedplate.cli.main import main\n{prepare}\nsys.exit(main(sys.argv[1:]))\n"
    paths = os.pathsep.join(str(ROOT / part) for part in ("compiler", "plugins", "schema"))
    environment = {**os.environ, "PYTHONPATH": paths, **(env or {})}
    given = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **streams}
    return subprocess.run(
        [sys.executable, "-c", program, *words], cwd=cwd, env=environment, text=True, check=False, timeout=60, **given
    )  # type: ignore[call-overload, no-any-return]


INPUTS = [
    (("compile", "kelp-02.toml"), "kelp-02.toml"),
    (("compile", "kelp-02.toml"), "common.toml"),
    (("compile", "kelp-02.toml", "--as", "json"), "kelp-02.survey.toml"),
    (("diff", "kelp-02.toml", "next.toml"), "next.toml"),
    (("diff", "kelp-02.toml", "next.toml", "--as", "script"), "kelp-02.toml"),
    (("diff", "--survey", "limpet-01.survey.toml", "limpet-01.toml"), "limpet-01.survey.toml"),
    (("survey", "--from", "capture.txt"), "capture.txt"),
    (("draft", "kelp-02.survey.toml"), "kelp-02.survey.toml"),
]


@pytest.mark.parametrize("force", [(), ("--force",)])
@pytest.mark.parametrize("way", ["itself", "link", "hard link"])
@pytest.mark.parametrize(("words", "name"), INPUTS)
def test_what_is_read_is_never_replaced(
    words: tuple[str, ...],
    name: str,
    way: str,
    force: tuple[str, ...],
    home: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(home)
    shutil.copy(CAPTURE, home / "capture.txt")
    out = {"itself": name, "link": "way.txt", "hard link": "way.txt"}[way]
    if way == "link":
        Path(out).symlink_to(name)
    if way == "hard link":
        Path(out).hardlink_to(name)
    before = {path.name: path.read_bytes() for path in home.iterdir()}
    assert main([*words, "--out", out, *force]) == 2
    assert {path.name: path.read_bytes() for path in home.iterdir()} == before
    if force:
        assert f"bedplate: {out}: this file is read in the same call" in capsys.readouterr().err


def test_the_capture_on_standard_input_is_an_input(home: Path) -> None:
    capture = home / "capture.txt"
    shutil.copy(CAPTURE, capture)
    with capture.open() as stream:
        ran = in_process("survey", "--from", "-", "--out", "capture.txt", "--force", cwd=home, stdin=stream)
    assert ran.returncode == 2 and "is read in the same call" in ran.stderr
    assert capture.read_bytes() == CAPTURE.read_bytes()


def test_files_of_the_program_and_of_plugins_are_never_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    plugin = tmp_path / "saltmarsh_lamp.py"
    plugin.write_text("LAMP = 1\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    __import__("saltmarsh_lamp")
    for place in (plugin, ROOT / "compiler/bedplate/surveying/collector.sh"):
        before = place.read_bytes()
        assert main(["schema", "--out", str(place), "--force"]) == 2
        assert "belongs to Bedplate or to a plugin" in capsys.readouterr().err
        assert place.read_bytes() == before


@pytest.mark.parametrize("rendering", RENDERINGS)
def test_an_earlier_output_is_replaced_and_nothing_else_is(
    rendering: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = home / ("kelp.dot" if rendering == "graph" else "kelp.out")
    command = ["compile", str(home / "kelp-02.toml"), "--as", rendering, "--out", str(out)]
    assert main(command) == 0
    first = out.read_bytes()
    assert main(command) == 0 and out.read_bytes() == first
    assert main([*command[:1], str(home / "limpet-01.toml"), *command[2:]]) == 2, "the other machine's"
    out.write_text("# my own notes about kelp-02\n")
    capsys.readouterr()
    assert main(command) == 2
    assert "stays as it is; --force replaces it" in capsys.readouterr().err
    assert out.read_text() == "# my own notes about kelp-02\n"
    assert main([*command, "--force"]) == 0 and out.read_bytes() == first


@pytest.mark.parametrize(
    "words",
    [
        ("schema",),
        ("schema", "--of", "diff"),
        ("survey", "--collector"),
        ("diff", "kelp-02.toml", "next.toml"),
        ("diff", "kelp-02.toml", "kelp-02.toml"),
        ("diff", "kelp-02.toml", "next.toml", "--format", "json"),
        ("diff", "kelp-02.toml", "next.toml", "--as", "checklist"),
        ("diff", "kelp-02.toml", "next.toml", "--as", "script"),
        ("compile", "kelp-02.toml", "--as", "graph"),
    ],
)
def test_every_output_knows_its_earlier_self(
    words: tuple[str, ...], home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(home)
    out = "out.svg" if "graph" in words else "out"
    statuses = (0, 1) if words[0] == "diff" else (0,)
    assert main([*words, "--out", out]) in statuses
    written = Path(out).read_bytes()
    assert main([*words, "--out", out]) in statuses
    assert Path(out).read_bytes() == written
    Path(out).write_text("mine\n")
    assert main([*words, "--out", out]) == 2
    assert Path(out).read_text() == "mine\n"


@pytest.mark.parametrize("words", [("survey", "--from", str(CAPTURE)), ("draft", "kelp-02.survey.toml")])
def test_what_a_person_edits_is_replaced_with_force_only(
    words: tuple[str, ...], home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(home)
    assert main([*words, "--out", "new.toml"]) == 0
    assert main([*words, "--out", "new.toml"]) == 2
    assert main([*words, "--out", "new.toml", "--force"]) == 0


def test_of_several_outputs_all_are_tried_before_one_is_written(
    home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(home)
    Path("out").mkdir()
    Path("out/limpet-01.md").write_text("mine\n")
    assert main(["compile", "kelp-02.toml", "limpet-01.toml", "--out", "out"]) == 2
    assert os.listdir("out") == ["limpet-01.md"] and "Nothing was written." in capsys.readouterr().err
    Path("b").mkdir()
    for name in ("limpet-01.toml", "limpet-01.survey.toml", "common.toml"):
        shutil.copy(name, "b")
    assert main(["compile", "limpet-01.toml", "b/limpet-01.toml", "--out", "fresh/", "--force"]) == 2
    assert "two outputs would go there" in capsys.readouterr().err and not Path("fresh").exists()


@pytest.mark.parametrize("force", [(), ("--force",)])
def test_a_device_a_pipe_and_an_open_stream_are_written_through(
    force: tuple[str, ...], home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(home)
    assert main(["compile", "kelp-02.toml", "--out", "k.md"]) == 0
    wanted = Path("k.md").read_text()
    assert main(["compile", "kelp-02.toml", "--out", "/dev/null", *force]) == 0
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)
    os.mkfifo("pipe")
    read: list[str] = []
    reader = threading.Thread(target=lambda: read.append(Path("pipe").read_text()), daemon=True)
    reader.start()
    assert main(["compile", "kelp-02.toml", "--out", "pipe", *force]) == 0
    reader.join(20)
    assert read == [wanted] and stat.S_ISFIFO(os.stat("pipe").st_mode)
    for out in ("/dev/stdout", "/dev/fd/1", "/proc/self/fd/1", "-"):
        ran = in_process("compile", "kelp-02.toml", "--out", out, *force, cwd=home)
        assert (ran.returncode, ran.stdout) == (0, wanted), out
    with open("log", "w") as log:
        log.write("before\n")
        log.flush()
        assert in_process("compile", "kelp-02.toml", "--out", "/dev/stdout", cwd=home, stdout=log).returncode == 0
    assert Path("log").read_text() == "before\n" + wanted


@pytest.mark.parametrize("out", ["/dev/full", "link"])
def test_a_device_that_is_full_is_told(out: str, home: Path) -> None:
    (home / "link").symlink_to("/dev/full")
    ran = in_process("compile", "kelp-02.toml", "--out", out, cwd=home)
    assert ran.returncode == 2 and f"bedplate: {out}: No space left on device" in ran.stderr
    assert "Traceback" not in ran.stderr and stat.S_ISCHR(os.stat("/dev/full").st_mode)


def test_standard_output_that_is_full_is_told_once(home: Path) -> None:
    with open("/dev/full", "w") as full:
        ran = in_process("compile", "kelp-02.toml", cwd=home, stdout=full)
    assert ran.returncode == 2
    assert ran.stderr.splitlines()[-1] == "bedplate: standard output: No space left on device"
    assert "Exception" not in ran.stderr


@pytest.mark.skipif(os.getuid() != 0, reason="only root can make a device")
def test_a_disk_is_never_written_over(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    disk = home / "disk"
    os.mknod(disk, stat.S_IFBLK | 0o600, os.makedev(0, 0))
    assert main(["compile", str(home / "kelp-02.toml"), "--out", str(disk), "--force"]) == 2
    assert "this is a disk or a part of one" in capsys.readouterr().err
    assert stat.S_ISBLK(os.lstat(disk).st_mode)


def test_a_link_stays_and_its_file_is_replaced_in_its_own_folder(home: Path) -> None:
    (home / "far").mkdir()
    (home / "near").symlink_to("far/k.md")
    for _ in range(2):
        assert main(["compile", str(home / "kelp-02.toml"), "--out", str(home / "near")]) == 0
        assert (home / "near").is_symlink() and (home / "far/k.md").read_text().startswith("# kelp-02")
        assert os.listdir(home / "far") == ["k.md"]
    (home / "loop").symlink_to("loop")
    assert main(["compile", str(home / "kelp-02.toml"), "--out", str(home / "loop")]) == 2


def test_the_old_file_stays_where_the_new_one_cannot_be_written(home: Path) -> None:
    """setrlimit(2), RLIMIT_FSIZE: a write beyond it fails as on a full disk."""
    out = home / "k.md"
    assert main(["compile", str(home / "kelp-02.toml"), "--out", str(out)]) == 0
    before, there = out.read_bytes(), sorted(os.listdir(home))
    limit = "resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))"
    ran = in_process("compile", "kelp-02.toml", "--out", "k.md", cwd=home, prepare=limit)
    assert ran.returncode == 2 and "bedplate: k.md: File too large; nothing there was changed" in ran.stderr
    assert out.read_bytes() == before and sorted(os.listdir(home)) == there
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] != 4096


def test_a_folder_that_cannot_be_written_to_is_told(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """sysfs(5): nobody makes files there, root neither."""
    assert main(["compile", str(home / "kelp-02.toml"), "--out", "/sys/k.md"]) == 2
    err = capsys.readouterr().err
    assert "bedplate: /sys/k.md: " in err and "nothing there was changed" in err and "Traceback" not in err


def test_a_write_protected_file_stays(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = home / "k.md"
    command = ["compile", str(home / "kelp-02.toml"), "--out", str(out)]
    assert main(command) == 0
    out.chmod(0o444)
    before = out.stat().st_ino
    assert main(command) == 2 and "write-protected" in capsys.readouterr().err
    assert out.stat().st_ino == before


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664])
def test_the_mode_of_what_was_there_is_kept(mode: int, home: Path) -> None:
    out = home / "k.md"
    command = ["compile", str(home / "kelp-02.toml"), "--out", str(out)]
    assert main(command) == 0
    out.chmod(mode)
    assert main(command) == 0
    assert stat.S_IMODE(out.stat().st_mode) == mode


def test_what_is_private_is_for_its_owner_alone(tmp_path: Path) -> None:
    for executable, mode in ((False, 0o600), (True, 0o700)):
        out = tmp_path / f"out-{mode:o}"
        output_files.write([output_files.Output(path=str(out), text="x", executable=executable, private=True)])
        assert stat.S_IMODE(out.stat().st_mode) == mode


@pytest.mark.parametrize("out", [".", "/", "kelp-02.toml/x"])
def test_a_folder_and_a_place_below_a_file_are_refused(
    out: str, home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(home)
    assert main(["schema", "--out", out]) == 2
    err = capsys.readouterr().err
    assert err.startswith(f"bedplate: {out}: ") and "Traceback" not in err and "fault of Bedplate" not in err


@pytest.mark.parametrize("environment", [{"LC_ALL": "C"}, {"LC_ALL": "POSIX", "LANG": "C"}])
def test_data_is_utf_8_in_every_locale(environment: dict[str, str], home: Path) -> None:
    """PEP 538, PEP 540: without them a C locale has ASCII streams."""
    (home / "kelp-02.toml").write_text((home / "kelp-02.toml").read_text().replace("Field laptop", "Feldrechner für"))
    plain = {"PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0", **environment}
    ran = in_process("compile", "kelp-02.toml", "--as", "json", cwd=home, env=plain)
    assert ran.returncode == 0, ran.stderr
    assert "für" in ran.stdout
