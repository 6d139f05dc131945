"""Copies of a script that are not whole, other shells than dash, streams that are closed or full, and wrong words.

A compound command is read to its end before it is begun: POSIX.1-2017, XCU 2.9.4. Files a shell opens above 2 may stay
with the shell (ksh(1), mksh(1)). full(4). The shells are those of Debian 12.
"""

from __future__ import annotations

import fcntl
import os
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

from bedplate.actions import Call, Secret
from bedplate.rendering import audit, script
from bedplate.surveying import capture
from rendering import Sandbox, action, graph, writing

SHELLS = {
    "dash": ["dash"],
    "bash": ["bash"],
    "bash as sh": ["bash", "--posix"],
    "busybox": ["busybox", "sh"],
    "mksh": ["mksh"],
    "ksh": ["ksh93"],
    "yash": ["yash"],
    "zsh": ["zsh", "--emulate", "sh"],
}
WORK = graph(writing("demo.file", "/etc/demo", "demo\n"))


def run(
    sandbox: Sandbox, shell: Sequence[str], *options: str, answers: str = "kelp-02\n"
) -> subprocess.CompletedProcess[str]:
    """The script of the sandbox."""
    command = [*shell, str(sandbox.folder / "script.sh"), *options]
    return subprocess.run(command, input=answers, capture_output=True, text=True, timeout=60, check=False)


def untouched(sandbox: Sandbox) -> bool:
    """Whether nothing was made but the script itself."""
    return sorted(os.listdir(sandbox.folder)) == ["fakes", "script.sh", "target"] and not os.listdir(sandbox.target)


@pytest.mark.parametrize("shell", SHELLS)
def test_every_shell_installs_and_takes_back(shell: str, tmp_path: Path) -> None:
    sandbox = Sandbox(tmp_path)
    sandbox.place(script.render(WORK))
    ran = run(sandbox, SHELLS[shell])
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert (sandbox.target / "etc/demo").read_text() == "demo\n"
    assert "already done, skipped" in run(sandbox, SHELLS[shell]).stdout
    assert "Do demo.file" in run(sandbox, SHELLS[shell], "--show").stdout
    assert "taken back" in run(sandbox, SHELLS[shell], "--undo").stdout


@pytest.mark.parametrize("shell", SHELLS)
def test_a_second_copy_is_refused_and_the_first_is_not(shell: str, tmp_path: Path) -> None:
    sandbox = Sandbox(tmp_path)
    sandbox.place(script.render(WORK))
    with (tmp_path / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        ran = run(sandbox, SHELLS[shell])
    assert ran.returncode == 1 and "Another copy of a Bedplate script is running" in ran.stdout
    assert run(sandbox, SHELLS[shell]).returncode == 0


@pytest.mark.parametrize("option", [(), ("--show",), ("--undo",)])
@pytest.mark.parametrize("shell", ["dash", "bash", "busybox", "mksh"])
def test_a_copy_that_was_cut_off_does_nothing(shell: str, option: tuple[str, ...], tmp_path: Path) -> None:
    sandbox = Sandbox(tmp_path)
    path = sandbox.place(script.render(WORK))
    whole = path.read_bytes()
    ends = [place for place, sign in enumerate(whole) if sign == ord("\n")]
    for length in [*range(len(whole) - 60, len(whole) - 1), *ends[:: len(ends) // 12], 0, 1, 10, 500]:
        path.write_bytes(whole[:length])
        ran = run(sandbox, SHELLS[shell], *option)
        assert untouched(sandbox), length
        assert ran.stdout == "", length
        assert ran.returncode != 0 or b"\n{ #" not in whole[:length], length


@pytest.mark.parametrize("shell", SHELLS)
def test_a_copy_with_other_line_ends_does_nothing(shell: str, tmp_path: Path) -> None:
    sandbox = Sandbox(tmp_path)
    path = sandbox.place(script.render(WORK))
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    ran = run(sandbox, SHELLS[shell])
    assert ran.returncode != 0 and ran.stdout == "" and untouched(sandbox)


@pytest.mark.parametrize("text", [audit.render(WORK), capture.collect_script()], ids=["audit", "collector"])
@pytest.mark.parametrize("shell", ["dash", "bash", "busybox"])
def test_what_only_reads_is_whole_or_nothing_too(shell: str, text: str, tmp_path: Path) -> None:
    path, whole = tmp_path / "copy.sh", text.encode()
    for length in (*range(len(whole) - 40, len(whole) - 1), len(whole) // 2):
        path.write_bytes(whole[:length])
        ran = subprocess.run([*SHELLS[shell], str(path)], capture_output=True, text=True, timeout=60, check=False)
        assert ran.returncode != 0 and ran.stdout == "", length


@pytest.mark.parametrize("shell", SHELLS)
@pytest.mark.parametrize(
    ("word", "near"),
    [
        ("--shwo", "(nearest: --show)"),
        ("undo", "(nearest: --undo)"),
        ("--bogus", "--bogus: this is no word"),
        ("-h", "(nearest: --help)"),
        ("--lsit", "(nearest: --list)"),
        ("\x1b[2J", "'"),
    ],
)
def test_a_wrong_word_is_named(word: str, near: str, shell: str, tmp_path: Path) -> None:
    sandbox = Sandbox(tmp_path)
    sandbox.place(script.render(WORK))
    ran = run(sandbox, SHELLS[shell], word)
    assert ran.returncode == 2 and near in ran.stderr and ran.stdout == "" and untouched(sandbox)
    assert "\x1b" not in ran.stderr


def test_a_second_word_is_named(tmp_path: Path) -> None:
    sandbox = Sandbox(tmp_path)
    sandbox.place(script.render(WORK))
    ran = run(sandbox, ["dash"], "--show", "--undo")
    assert ran.returncode == 2 and "--undo" in ran.stderr.splitlines()[0] and untouched(sandbox)


@pytest.mark.parametrize("shell", SHELLS)
def test_closed_streams_are_told(shell: str, tmp_path: Path) -> None:
    sandbox = Sandbox(tmp_path)
    path = sandbox.place(script.render(WORK))
    line = " ".join([*SHELLS[shell], str(path)])
    ran = subprocess.run(["dash", "-c", f"{line} <&-"], capture_output=True, text=True, timeout=60, check=False)
    assert ran.returncode == 1 and "No answer could be read" in ran.stdout and "Nothing was changed." in ran.stdout
    assert not (sandbox.target / "etc/demo").exists()
    ran = subprocess.run(
        ["dash", "-c", f"{line} >&-"], capture_output=True, text=True, input="kelp-02\n", timeout=60, check=False
    )
    assert ran.returncode != 0 and "Standard output is closed" in ran.stderr
    assert not (sandbox.target / "etc/demo").exists()


@pytest.mark.parametrize("shell", ["dash", "bash", "busybox"])
def test_a_log_that_takes_nothing_is_told(shell: str, tmp_path: Path) -> None:
    sandbox = Sandbox(tmp_path)
    sandbox.place(script.render(WORK))
    sandbox.log.symlink_to("/dev/full")
    ran = run(sandbox, SHELLS[shell])
    assert ran.returncode == 1 and f"The log {sandbox.log} cannot be written" in ran.stdout
    assert "Nothing was changed." in ran.stdout and not (sandbox.target / "etc/demo").exists()


@pytest.mark.skipif(os.getuid() != 0, reason="only root can mount a small file system")
@pytest.mark.parametrize("shell", ["dash", "bash", "busybox"])
def test_a_log_that_becomes_full_is_named_as_a_cause(shell: str, tmp_path: Path) -> None:
    """tmpfs(5), size: what is beyond it fails with ENOSPC."""
    sandbox = Sandbox(tmp_path)
    full = tmp_path / "full"
    full.mkdir()
    many = graph(*(writing(f"demo.file-{number}", f"/etc/demo-{number}", "demo\n") for number in range(60)))
    path = sandbox.place(script.render(many))
    path.write_text(path.read_text().replace(f"LOG={sandbox.log}", f"LOG={full}/log"))
    line = f"mount -t tmpfs -o size=4096 none {full} && exec {' '.join(SHELLS[shell])} {path}"
    ran = subprocess.run(
        ["unshare", "--mount", "dash", "-c", line],
        input="kelp-02\n",
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ran.returncode == 1 and "STOPPED at [" in ran.stdout
    assert f"The log {full}/log takes nothing more: its file system is full" in ran.stdout


# --- no refusal without its reason -----------------------------------------------------------------------------------

KEYS = action(
    "demo.keys", Call(verb="locale/live-keymap", args=("de-latin1", "pc105", "de", "")), gives=("keymap:live",)
)
SECRET = action("demo.secret", secrets=(Secret(name="word", prompt="The word", min_length=1, max_length=9),))


@pytest.mark.parametrize("shell", ["dash", "bash", "busybox"])
def test_a_keymap_that_cannot_be_loaded_is_told_with_its_reason(shell: str, tmp_path: Path) -> None:
    """As seen on a real console whose medium has no keymap files."""
    sandbox = Sandbox(tmp_path)
    for name, body in (("readlink", "echo /dev/tty1"), ("loadkeys", "exit 1"), ("ckbcomp", "exit 1")):
        sandbox.fake(name, body)
    sandbox.place(script.render(graph(KEYS, SECRET, writing("demo.file", "/etc/demo", "x"))))
    ran = run(sandbox, SHELLS[shell], answers="secret\nsecret\nkelp-02\n")
    assert ran.returncode == 1 and ran.stdout.endswith("\nNothing was changed.\n")
    assert "the keymap de-latin1 could not be loaded" in ran.stdout
    sandbox.fake("readlink", "echo /dev/ttyS0")
    assert run(sandbox, SHELLS[shell], answers="secret\nsecret\nkelp-02\n").returncode == 0


@pytest.mark.parametrize(
    ("spoil", "answers", "reason"),
    [
        (('"$WORK/secret-$1") 2', '"/no/such/secret-$1") 2'), "a\na\n", "The secret could not be kept in memory"),
        (("", ""), "a\n", "No answer could be read."),
        (("", ""), "a\nb\n" * 5, "Given up after five attempts."),
        (("", ""), "a\na\nlimpet\n", "That is not kelp-02."),
        (("", ""), "a\na\n", "No answer could be read."),
    ],
)
def test_what_ends_with_nothing_was_changed_says_why(
    spoil: tuple[str, str], answers: str, reason: str, tmp_path: Path
) -> None:
    sandbox = Sandbox(tmp_path)
    text = script.render(graph(SECRET, writing("demo.file", "/etc/demo", "x")))
    old = '>"$WORK/secret-$1"); then'
    assert old in text
    sandbox.place(text.replace(old, '>"/no/such/secret-$1"); then') if spoil[0] else text)
    ran = run(sandbox, ["dash"], answers=answers)
    assert ran.returncode == 1 and "Nothing was changed." in ran.stdout and reason in ran.stdout
