"""The install script, run in a sandbox: what it refuses, in what order it asks, how it goes on after a failure.

Rules tried here are the design's own and common practice (no source), except where a test names one. Shells: dash,
bash, busybox ash.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pexpect
import pytest
from attrs import evolve

from bedplate.actions import (
    Action,
    ByHand,
    Call,
    Check,
    Coding,
    Gathered,
    InTarget,
    Outputs,
    Run,
    Secret,
    SecretRef,
    Stage,
    Succeeds,
    WayBack,
)
from bedplate.conditions import holds, tool_present
from bedplate.facts import LaidPartition, Layout
from bedplate.faults import Rejected
from bedplate.rendering import audit, checklist, script
from rendering import SHELLS, Sandbox, action, graph, writing

NAME = "kelp-02\n"


@pytest.fixture(params=sorted(SHELLS))
def shell(request: pytest.FixtureRequest) -> str:
    """Each shell in turn."""
    return str(request.param)


@pytest.fixture
def sandbox(tmp_path: Path) -> Sandbox:
    """A sandbox of its own for each test."""
    return Sandbox(tmp_path)


def marker(name: str, **fields: Any) -> Action:
    """An action that leaves a mark each time it runs; nothing proves it."""
    append = Run(argv=("sh", "-c", f'echo {name} >>"$0"/marks', InTarget("/")))
    return action(f"demo.{name}", append, **fields)


def marks(sandbox: Sandbox) -> list[str]:
    """The marks of actions, in the order they ran."""
    path = sandbox.target / "marks"
    return path.read_text().split() if path.exists() else []


def false(says: str, otherwise: str = "Mend it.", early: bool = True) -> Check:
    """A check that does not hold."""
    return Check(says=says, test=Succeeds(argv=("false",)), otherwise=otherwise, early=early)


# --- before the first write --------------------------------------------------------------------------------------


def test_all_guards_are_reported_and_nothing_is_written(sandbox: Sandbox, shell: str) -> None:
    wrong = Check(says="The disk says A", test=Outputs(argv=("echo", "B"), text="A"), otherwise="Look again.")
    one = writing("demo.one", "/one", "1", guards=(false("The first thing"), wrong))
    two = writing("demo.two", "/two", "2", guards=(false("The second thing", early=False), false("A third thing")))
    three = writing("demo.three", "/three", "3", needs=("tool:no-such-tool",))
    done = sandbox.run(script.render(graph(one, two, three)), shell)
    assert (done.returncode, done.stderr) == (1, "")
    for text in ("The first thing", "The disk says A", "found:     B", "Look again.", "A third thing", "no-such-tool"):
        assert text in done.stdout
    assert "The second thing" not in done.stdout
    assert "Nothing was changed." in done.stdout
    assert "Type the name" not in done.stdout
    assert not list(sandbox.target.iterdir())


@pytest.mark.parametrize("answers", ["kelp-03\n", "\n", "", "KELP-02\n", "yes\n"])
def test_only_the_right_name_starts_it(sandbox: Sandbox, shell: str, answers: str) -> None:
    done = sandbox.run(script.render(graph(writing("demo.one", "/one", "1"))), shell, answers=answers)
    assert (done.returncode, done.stderr) == (1, "")
    assert "Nothing was changed." in done.stdout
    assert not list(sandbox.target.iterdir())


def test_secrets_come_after_guards_and_before_the_name(sandbox: Sandbox, shell: str) -> None:
    secret = Secret(name="p", prompt="Password of ana")
    work = action("demo.p", Run(argv=("true",)), secrets=(secret,), guards=(tool_present("sed"),))
    done = sandbox.run(script.render(graph(work)), shell, answers="x1\nx1\n" + NAME)
    assert done.returncode == 0, done.stdout
    assert done.stdout.index("Password of ana: ") < done.stdout.index("Type the name")
    refused = graph(action("demo.q", secrets=(secret,), guards=(false("No"),)))
    assert "Password of ana: " not in Sandbox(sandbox.folder / "again").run(script.render(refused), shell).stdout


def test_a_secret_of_a_proved_action_is_not_asked(sandbox: Sandbox, shell: str) -> None:
    secret = Secret(name="p", prompt="Password of ana")
    done = sandbox.run(script.render(graph(action("demo.p", proofs=(tool_present("sed"),), secrets=(secret,)))), shell)
    assert (done.returncode, "Password" in done.stdout) == (0, False)


def test_wrong_options_are_wrong_use(sandbox: Sandbox, shell: str) -> None:
    text = script.render(graph(writing("demo.one", "/one", "1")))
    for options in (["--force"], ["--show", "--list"], ["kelp-02"]):
        done = sandbox.run(text, shell, options=options)
        assert (done.returncode, done.stdout) == (2, "")
        assert "--show" in done.stderr


def test_help_list_and_show_touch_nothing(sandbox: Sandbox, shell: str) -> None:
    text = script.render(graph(writing("demo.one", "/one", "1"), action("demo.two", Run(argv=("rm", "x y")))))
    for option, word in (("--help", "Exit status"), ("--list", "Do demo.two"), ("--show", "rm 'x y'")):
        done = sandbox.run(text, shell, answers="", options=[option])
        assert (done.returncode, done.stderr) == (0, "")
        assert word in done.stdout
    assert sorted(item.name for item in sandbox.folder.iterdir()) == ["fakes", "script.sh", "target", "work"]
    assert not list(sandbox.target.iterdir())


def test_only_root(sandbox: Sandbox, shell: str) -> None:
    text = script.render(graph(writing("demo.one", "/one", "1")))
    sandbox.fake("id", "echo 1234")
    done = sandbox.run(text, shell)
    assert (done.returncode, "as root" in done.stdout) == (1, True)


def test_a_missing_base_command_is_named(sandbox: Sandbox, shell: str) -> None:
    text = script.render(graph(writing("demo.one", "/one", "1"))).replace("cat chmod", "cat no-such-base chmod")
    done = sandbox.run(text, shell)
    assert (done.returncode, "no-such-base" in done.stdout) == (1, True)


def test_secrets_never_touch_a_disk(sandbox: Sandbox, shell: str) -> None:
    # statfs(2) names: tmpfs and ramfs lie in memory
    sandbox.fake("stat", 'case "$*" in *"-f -c %T"*) echo ext2/ext3 ;; *) exec /usr/bin/stat "$@" ;; esac')
    done = sandbox.run(script.render(graph(writing("demo.one", "/one", "1"))), shell)
    assert (done.returncode, "No folder in memory" in done.stdout) == (1, True)


def test_never_inside_the_installed_machine(sandbox: Sandbox, shell: str) -> None:
    sandbox.fake("findmnt", "echo 0f-root-uuid")
    sandbox.fake("lsblk", "echo /dev/null")
    part = LaidPartition(
        name="root", new=True, number=1, start=2048, size=4096, type="T", uuid="U", mount="/", fs_uuid="0f-root-uuid"
    )
    layout = Layout(
        disk_words="d",
        serial="",
        size_bytes=10**9,
        sector_size=512,
        table_id="I",
        whole_disk=True,
        first_lba=34,
        last_lba=9999,
        partitions=(part,),
    )
    text = script.render(graph(writing("demo.one", "/one", "1"), facts={Layout: layout}))
    done = sandbox.run(text, shell)
    assert (done.returncode, "the installed kelp-02 itself" in done.stdout) == (1, True)


def test_a_disk_that_is_not_there_is_refused(sandbox: Sandbox, shell: str) -> None:
    layout = Layout(
        disk_words="d",
        serial="NO-SUCH-SERIAL",
        size_bytes=10**9,
        sector_size=512,
        table_id="I",
        whole_disk=True,
        first_lba=34,
        last_lba=9999,
        partitions=(),
    )
    done = sandbox.run(script.render(graph(writing("demo.one", "/one", "1"), facts={Layout: layout})), shell)
    assert (done.returncode, done.stderr) == (1, "")
    assert "The disk of kelp-02 was not found. Nothing was changed." in done.stdout
    assert not list(sandbox.target.iterdir())


def test_what_is_lost_and_kept_is_shown_before_the_name(sandbox: Sandbox) -> None:
    kept = LaidPartition(
        name="factory",
        new=False,
        number=3,
        start=2048,
        size=8192,
        type="T",
        uuid="K",
        filesystem="ntfs",
        shrunk_from=16384,
    )
    old = LaidPartition(name="old", new=False, number=4, start=16384, size=8192, type="T", uuid="L", filesystem="ext4")
    root = LaidPartition(
        name="root", new=True, number=4, start=16384, size=8192, type="T", uuid="N", filesystem="ext4", mount="/"
    )
    layout = Layout(
        disk_words="Tidewater 500",
        serial="S",
        size_bytes=10**9,
        sector_size=512,
        table_id="I",
        whole_disk=False,
        first_lba=34,
        last_lba=99999,
        partitions=(kept, root),
        before=(kept, old),
    )
    text = script.render(graph(writing("demo.one", "/one", "1", cautions=("Mind the gap.",)), facts={Layout: layout}))
    said = sandbox.run(text, options=["--show"]).stdout
    lost, staying = said.index("ERASED for good:"), said.index("Kept:")
    assert lost < said.index("no. 4 old: 4 MiB, ext4") < staying < said.index("no. 3 factory: 4 MiB, ntfs")
    assert "kept, shrunk to 4 MiB" in said and "Mind the gap." in said and "recovery keys" in said
    # right above the question too: 25 lines are all that a text console shows
    text = re.sub(r"(?m)^    verb_find_disk .*$", "    echo /dev/tidewater", text)
    last = sandbox.run(text, answers="no\n").stdout.partition("Type the name")[0].splitlines()[-24:]
    assert [line for line in last if "Tidewater 500" in line or "/dev/tidewater" in line or "no. 4 old" in line] == [
        "The disk that is written to: Tidewater 500",
        "The live medium calls it /dev/tidewater.",
        "  - no. 4 old: 4 MiB, ext4",
    ]


# --- the stages of a person --------------------------------------------------------------------------------------


def test_work_before_the_medium_is_asked_for_once(sandbox: Sandbox, shell: str) -> None:
    before = action("demo.backup", ByHand(text="Copy it."), stage=Stage.OTHER_SYSTEM, title="Make a backup")
    firmware = action("demo.boot", ByHand(text="Press a key."), stage=Stage.FIRMWARE, title="Start the medium")
    after = action("demo.login", ByHand(text="Log in.", commands=("uname -r",)), stage=Stage.FIRST_BOOT)
    text = script.render(graph(before, firmware, writing("demo.one", "/one", "1"), after))
    done = sandbox.run(text, shell, answers="yes\n" + NAME)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.count("Have all of these been done?") == 1
    assert done.stdout.index("Make a backup") < done.stdout.index("Have all of these")
    assert done.stdout.index("[3/4]") < done.stdout.index("Log in.") < done.stdout.index("uname -r")
    assert "All 1 actions that belong on this medium are done" in done.stdout
    refused = Sandbox(sandbox.folder / "no").run(text, shell, answers="no\n" + NAME)
    assert (refused.returncode, "Nothing was changed." in refused.stdout) == (1, True)


def test_work_before_the_medium_that_does_not_prove_itself_is_refused(sandbox: Sandbox, shell: str) -> None:
    shrink = action(
        "demo.shrink",
        ByHand(text="Shrink it."),
        stage=Stage.OTHER_SYSTEM,
        proofs=(false("The volume ends at sector 100"),),
    )
    done = sandbox.run(script.render(graph(shrink, writing("demo.one", "/one", "1"))), shell, answers="yes\n" + NAME)
    assert (done.returncode, "The volume ends at sector 100" in done.stdout) == (1, True)
    assert "Type the name" not in done.stdout


def test_proved_work_before_the_medium_is_not_asked(sandbox: Sandbox, shell: str) -> None:
    shrink = action("demo.shrink", ByHand(text="Shrink it."), stage=Stage.OTHER_SYSTEM, proofs=(tool_present("sed"),))
    done = sandbox.run(script.render(graph(shrink, writing("demo.one", "/one", "1"))), shell)
    assert (done.returncode, "Have all of these" in done.stdout) == (0, False)


def test_work_by_hand_in_the_middle_waits(sandbox: Sandbox, shell: str) -> None:
    text = script.render(graph(action("demo.key", ByHand(text="Plug the key in.", commands=("ls /media",)))))
    done = sandbox.run(text, shell, answers=NAME + "done\n")
    assert (done.returncode, "Plug the key in." in done.stdout) == (0, True)
    assert Sandbox(sandbox.folder / "no").run(text, shell, answers=NAME + "no\n").returncode == 1


# --- carrying out ------------------------------------------------------------------------------------------------


def test_a_rerun_skips_what_is_proved_and_goes_on(sandbox: Sandbox, shell: str) -> None:
    wall = Run(argv=("test", "-e", InTarget("/mended")))
    actions = (writing("demo.one", "/one", "1"), action("demo.wall", wall), writing("demo.three", "/three", "3"))
    text = script.render(graph(*actions))
    done = sandbox.run(text, shell)
    assert (done.returncode, done.stderr) == (1, "")
    for said in ("STOPPED at [2/3] Do demo.wall", "Exit status: 1", "Remove /one.", "run again"):
        assert said in done.stdout
    assert (sandbox.target / "one").exists() and not (sandbox.target / "three").exists()
    (sandbox.target / "mended").write_text("")
    done = sandbox.run(text, shell)
    assert done.returncode == 0, done.stdout
    assert "[1/3] Do demo.one: already done, skipped" in done.stdout
    assert (sandbox.target / "three").read_text() == "3"


def test_a_changed_file_is_written_again(sandbox: Sandbox, shell: str) -> None:
    text = script.render(graph(writing("demo.one", "/one", "1")))
    assert sandbox.run(text, shell).returncode == 0
    (sandbox.target / "one").write_text("half")
    assert sandbox.run(text, shell).returncode == 0
    assert (sandbox.target / "one").read_text() == "1"


def test_a_failure_in_the_middle_stops_the_action(sandbox: Sandbox, shell: str) -> None:
    # dash(1): errexit is off in a function called left of ||, so every command says || return 1 by itself
    work = action("demo.work", Run(argv=("false",)), Run(argv=("touch", InTarget("/late"))))
    assert sandbox.run(script.render(graph(work)), shell).returncode == 1
    assert not (sandbox.target / "late").exists()


def test_a_late_guard_stops_before_its_action(sandbox: Sandbox, shell: str) -> None:
    work = writing("demo.two", "/two", "2", guards=(false("It is there by now", early=False),))
    done = sandbox.run(script.render(graph(writing("demo.one", "/one", "1"), work)), shell)
    assert (done.returncode, "It is there by now" in done.stdout) == (1, True)
    assert (sandbox.target / "one").exists() and not (sandbox.target / "two").exists()


def test_work_whose_proof_fails_is_not_called_done(sandbox: Sandbox, shell: str) -> None:
    work = action("demo.work", Run(argv=("true",)), proofs=(false("It is so"),))
    done = sandbox.run(script.render(graph(work)), shell)
    assert (done.returncode, "its proof does not hold" in done.stdout) == (1, True)
    assert "It is so" in done.stdout


def test_output_of_a_failed_command_goes_nowhere(sandbox: Sandbox, shell: str) -> None:
    dump = Run(argv=("sh", "-c", "echo half; exit 3"), stdout_to=InTarget("/dump"))
    done = sandbox.run(script.render(graph(action("demo.dump", dump))), shell)
    assert (done.returncode, "Exit status: 3" in done.stdout) == (1, True)
    assert not (sandbox.target / "dump").exists()


def test_commands_never_read_the_answers(sandbox: Sandbox, shell: str) -> None:
    greedy = action("demo.greedy", Run(argv=("cat",), stdout_to=InTarget("/read")))
    work = action("demo.key", ByHand(text="Plug the key in."))
    done = sandbox.run(script.render(graph(greedy, work)), shell, answers=NAME + "done\n")
    assert (done.returncode, (sandbox.target / "read").read_text()) == (0, "")


@pytest.mark.skipif(os.getuid() != 0, reason="a stamp belongs to root")
def test_a_stamp_proves_what_nothing_else_can(sandbox: Sandbox, shell: str) -> None:
    text = script.render(graph(marker("unpack", stamped=True)))
    assert sandbox.run(text, shell).returncode == 0
    assert sandbox.run(text, shell).returncode == 0
    assert marks(sandbox) == ["unpack"]
    changed = script.render(graph(marker("unpack", stamped=True, reason="Another reason.")))
    assert sandbox.run(changed, shell).returncode == 0
    assert marks(sandbox) == ["unpack", "unpack"]


def test_the_way_back_comes_last_first_with_its_commands(sandbox: Sandbox, shell: str) -> None:
    back = WayBack(
        note="Take it out.",
        operations=(
            Run(argv=("rm", "--", InTarget("/two words"))),
            Call(verb="tool-present", args=("sed",), by_hand=("command -v sed",)),
        ),
    )
    gone = WayBack(note="The old table is lost.", possible=False)
    first = writing("demo.first", "/first", "1", way_back=gone)
    second = writing("demo.second", "/second", "2", way_back=back)
    done = sandbox.run(script.render(graph(first, second, action("demo.bad", Run(argv=("false",))))), shell)
    said = done.stdout[done.stdout.index("Done or begun") :]
    assert said.index("Take it out.") < said.index("command -v sed")
    assert said.index("command -v sed") < said.index("Cannot be undone. The old table is lost.")
    assert "verb_tool_present" not in said
    assert (sandbox.target / "second").exists(), "the report only shows the way back"


def test_an_action_that_was_begun_has_its_way_back_shown(sandbox: Sandbox) -> None:
    bad = action("demo.bad", Run(argv=("false",)), way_back=WayBack(note="Delete the half of it."))
    assert "Delete the half of it." in sandbox.run(script.render(graph(bad))).stdout


@pytest.mark.skipif(os.getuid() != 0, reason="the log in the target belongs to root")
def test_the_log_is_kept_in_the_target_before_it_is_closed(sandbox: Sandbox, shell: str) -> None:
    (sandbox.target / "var" / "lib").mkdir(parents=True)
    close = action("demo.close", Run(argv=("true",)), gives=("target:closed",))
    done = sandbox.run(script.render(graph(writing("demo.one", "/one", "1"), close)), shell)
    assert done.returncode == 0
    kept = sandbox.target / "var/lib/bedplate/install.log"
    assert kept.stat().st_mode & 0o777 == sandbox.log.stat().st_mode & 0o777 == 0o600
    assert "verb_write_file" in kept.read_text() and "(exit status 0)" in kept.read_text()


@pytest.mark.skipif(os.getuid() != 0, reason="the files in the target belong to root")
def test_spec_and_survey_are_kept_in_the_target(sandbox: Sandbox, shell: str) -> None:
    """As they were read, byte for byte, so that they can be compiled again."""
    (sandbox.target / "var" / "lib").mkdir(parents=True)
    hostile = 'note = "it\'s $(touch BROKEN) `x` %s \\\\"\r\n# ümlaut, no line end'.encode()
    papers = {"kelp 02's.toml": hostile, "sub/kelp.survey.toml": b"x = 1\n\n"}
    close = action("demo.close", Run(argv=("true",)), gives=("target:closed",))
    done = sandbox.run(script.render(evolve(graph(close), source_files=papers)), shell)
    assert done.returncode == 0, done.stdout
    folder = sandbox.target / "var/lib/bedplate/spec"
    assert {str(one.relative_to(folder)): one.read_bytes() for one in folder.rglob("*") if one.is_file()} == papers
    assert all(one.stat().st_mode & 0o777 == 0o600 for one in folder.rglob("*") if one.is_file())


def test_the_umask_of_the_caller_does_not_matter(sandbox: Sandbox, shell: str) -> None:
    # a root folder made under umask 077 locks everybody but root out
    path = sandbox.place(script.render(graph(writing("demo.one", "/deep/one", "1"))))
    subprocess.run(
        ["sh", "-c", f'umask 077; exec {" ".join(SHELLS[shell])} "$0"', path],
        input=NAME,
        text=True,
        check=True,
        capture_output=True,
    )
    assert (sandbox.target / "deep").stat().st_mode & 0o777 == 0o755


def test_a_second_copy_is_refused(sandbox: Sandbox, shell: str) -> None:
    text = script.render(graph(writing("demo.one", "/one", "1")))
    with subprocess.Popen(["flock", sandbox.folder / "lock", "sleep", "30"]) as holder:
        time.sleep(0.5)
        done = sandbox.run(text, shell)
        holder.kill()
    assert (done.returncode, "Another copy" in done.stdout) == (1, True)
    assert not list(sandbox.target.iterdir())


ENDS = {signal.SIGTERM: 143, signal.SIGINT: 130, signal.SIGHUP: 129, signal.SIGQUIT: 131, signal.SIGPIPE: 141}


@pytest.mark.parametrize("number", ENDS)
def test_an_interrupted_run_leaves_no_secret(sandbox: Sandbox, shell: str, number: signal.Signals) -> None:
    # POSIX.1-2017 XCU 2.14 trap; dash runs no EXIT trap when a signal kills it
    with _running(sandbox, shell) as process:
        assert process.stdout is not None
        process.send_signal(number)
        said = process.stdout.read()
        assert process.wait(20) == ENDS[number]
    assert "Interrupted" in said and "STOPPED at [1/2]" in said
    assert not list(sandbox.scratch.iterdir())


@pytest.mark.skipif(os.getuid() != 0, reason="only root can mount: run the tests as root")
def test_secrets_lie_in_memory_that_is_never_swapped(sandbox: Sandbox, shell: str) -> None:
    with _running(sandbox, shell) as process:
        [folder] = sandbox.scratch.iterdir()
        assert f" {folder} ramfs " in Path("/proc/self/mounts").read_text()
        assert (folder / "secret-p").read_text() == "secret-value"
        assert process.wait(20) == 0
    assert not list(sandbox.scratch.iterdir())


def test_a_run_whose_output_nobody_reads_any_more_stops_with_a_report(sandbox: Sandbox, shell: str) -> None:
    with _running(sandbox, shell) as process:
        assert process.stdout is not None
        process.stdout.close()
        assert process.wait(20) == 141
    assert "STOPPED at" in sandbox.log.read_text()
    assert not list(sandbox.scratch.iterdir())


def test_a_terminal_cannot_stop_a_run_in_the_middle(sandbox: Sandbox, shell: str) -> None:
    with _running(sandbox, shell) as process:
        process.send_signal(signal.SIGTSTP)
        assert process.wait(20) == 0


def test_what_a_killed_copy_left_in_memory_goes(sandbox: Sandbox, shell: str) -> None:
    left = sandbox.scratch / "bedplate.abcd1234"
    left.mkdir(mode=0o700)
    (left / "secret-p").write_text("secret-value")
    trap = sandbox.scratch / "bedplate.trapped1"
    trap.symlink_to(sandbox.target)
    (sandbox.target / "kept").write_text("kept")
    assert sandbox.run(script.render(graph(writing("demo.one", "/one", "1"))), shell).returncode == 0
    assert (list(sandbox.scratch.iterdir()), (sandbox.target / "kept").exists()) == ([trap], True)


@contextmanager
def _running(sandbox: Sandbox, shell: str) -> Iterator[subprocess.Popen[str]]:
    """A run in the middle of its first action, with a secret in memory; another action follows."""
    secret = Secret(name="p", prompt="Password of ana")
    work = action("demo.p", Run(argv=("sh", "-c", "touch $0; sleep 2", InTarget("/running"))), secrets=(secret,))
    path = sandbox.place(script.render(graph(work, writing("demo.two", "/two", "2"))))
    command = [*SHELLS[shell], str(path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        process.stdin.write("secret-value\nsecret-value\n" + NAME)
        process.stdin.flush()
        limit = time.monotonic() + 20
        while not (sandbox.target / "running").exists() and time.monotonic() < limit:
            time.sleep(0.05)
        yield process


# --- secrets -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("answers", "says"),
    [
        ("one\ntwo\nright\nright\n", "not the same"),
        ("abc\nright\nright\n", "4 to 10 characters long; it has 3"),
        ("much-too-long-a-word\nright\nright\n", "4 to 10 characters"),
        ("größe\nright\nright\n", "printable ASCII"),
        ("with\ttab\nright\nright\n", "printable ASCII"),
    ],
)
def test_a_secret_is_asked_until_it_fits(sandbox: Sandbox, shell: str, answers: str, says: str) -> None:
    secret = Secret(name="p", prompt="Password of ana", min_length=4, max_length=10)
    if says == "not the same":
        secret = Secret(name="p", prompt="Password of ana")
    work = action("demo.p", Run(argv=("cat",), stdin=(SecretRef("p"),), stdout_to=InTarget("/p")), secrets=(secret,))
    done = sandbox.run(script.render(graph(work)), shell, answers=answers + NAME)
    assert (done.returncode, says in done.stdout) == (0, True), done.stdout
    assert (sandbox.target / "p").read_text() == "right"


def test_a_typed_secret_is_not_echoed_and_the_terminal_comes_back(sandbox: Sandbox, shell: str) -> None:
    # termios(3), ECHO: what is typed into a terminal comes back on it unless switched off
    secret = Secret(name="p", prompt="Password of ana")
    work = action("demo.p", Run(argv=("sleep", "5")), secrets=(secret,))
    path = sandbox.place(script.render(graph(work)))
    terminal = pexpect.spawn(SHELLS[shell][0], [*SHELLS[shell][1:], str(path)], encoding="utf-8", timeout=20)
    for prompt in ("Password of ana: ", "again.: "):
        terminal.expect(prompt)
        terminal.sendline("quiet-value")
    terminal.expect("Type the name of the machine .*: ")
    assert "quiet-value" not in terminal.before
    assert terminal.getecho()
    terminal.sendline("kelp-02")
    terminal.expect(r"[2-5] s")  # the elapsed time of a long action; a busy machine is late with it
    terminal.expect(r"done, \d+ s")
    terminal.expect(pexpect.EOF)
    terminal.close()
    assert terminal.exitstatus == 0


@pytest.mark.parametrize("content", ["from file\n", "from file", "from file\r\n", "from file\nmore\n"])
def test_a_secret_from_a_file_of_the_medium(sandbox: Sandbox, shell: str, content: str) -> None:
    path = sandbox.folder / "secret file"
    path.write_text(content, newline="")
    secret = Secret(name="p", prompt="Password of ana", file=str(path))
    work = action("demo.p", Run(argv=("cat",), stdin=(SecretRef("p"),), stdout_to=InTarget("/p")), secrets=(secret,))
    assert sandbox.run(script.render(graph(work)), shell).returncode == 0
    assert (sandbox.target / "p").read_text() == "from file"


def test_a_missing_secret_file_is_refused(sandbox: Sandbox, shell: str) -> None:
    secret = Secret(name="p", prompt="Password of ana", file="/no/such/file")
    done = sandbox.run(script.render(graph(action("demo.p", secrets=(secret,)))), shell)
    assert (done.returncode, "/no/such/file" in done.stdout, "Nothing was changed" in done.stdout) == (1, True, True)


@pytest.mark.parametrize(
    ("value", "written"),
    [("a\\b", "a\\\\b"), (" lead", "\\slead"), ("trail ", "trail\\s"), ("$`'\"", "$`'\""), ("\\s", "\\\\s")],
)
def test_a_secret_in_a_key_file(sandbox: Sandbox, shell: str, value: str, written: str) -> None:
    # escapes \s and \\: Desktop Entry Specification 1.5, "Possible value types"
    secret = Secret(name="psk", prompt="Passphrase")
    reference = SecretRef("psk", Coding.KEYFILE)
    work = action("demo.p", Run(argv=("cat",), stdin=("psk=", reference), stdout_to=InTarget("/p")), secrets=(secret,))
    assert sandbox.run(script.render(graph(work)), shell, answers=f"{value}\n{value}\n{NAME}").returncode == 0
    assert (sandbox.target / "p").read_text() == "psk=" + written


# --- the text ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("where", ["argv", "by_hand"])
def test_names_that_nobody_gathered_reach_neither_script_nor_hands(where: str) -> None:
    """A command that lost its last words would do something else."""
    names = (
        {"argv": ("true", Gathered("package"))} if where == "argv" else {"by_hand": (("true ", Gathered("package")),)}
    )
    run = Run(**{"argv": ("true",), **names})  # type: ignore[arg-type]
    with pytest.raises(Rejected) as refused:
        (script if where == "argv" else checklist).render(graph(action("x.names", run)))
    assert [fault.code for fault in refused.value.faults] == ["not-gathered"]


def test_same_graph_same_bytes() -> None:
    def build() -> str:
        return script.render(graph(writing("demo.one", "/one", "1"), writing("demo.two", "/two", "2")))

    assert build() == build()


def test_only_used_verbs_are_carried_along() -> None:
    text = script.render(graph(action("demo.one", proofs=(holds("so", "link-is", InTarget("/a"), "b"),))))
    assert "verb_link_is()" in text and "verb_has_line()" not in text


# --- the audit ---------------------------------------------------------------------------------------------------


def audited(text: str, sandbox: Sandbox) -> str:
    """The audit with the installed machine's root moved into the sandbox."""
    for old, new in (("TARGET=''", f"TARGET={sandbox.target}"), ("NEEDED_UID=0", f"NEEDED_UID={os.getuid()}")):
        assert text.count(f"\n{old}\n") == 1
        text = text.replace(f"\n{old}\n", f"\n{new}\n")
    return text


def test_the_audit_proves_what_the_script_did_and_only_reads(sandbox: Sandbox, shell: str) -> None:
    mount = action("demo.mount", transient=True, proofs=(false("mounted"),))
    whole = graph(mount, writing("demo.one", "/one", "1"), writing("demo.two", "/two", "2"))
    path = sandbox.folder / "audit.sh"
    path.write_text(audited(audit.render(whole), sandbox))
    (sandbox.target / "one").write_text("1")
    done = subprocess.run([*SHELLS[shell], path], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (1, "")
    assert "holds    [2/3] Do demo.one: /one is as planned" in done.stdout
    assert "DOES NOT [3/3] Do demo.two: /two is as planned" in done.stdout
    assert done.stdout.endswith("1 proofs hold, 1 do not\n")
    assert [item.name for item in sandbox.target.iterdir()] == ["one"]
    (sandbox.target / "two").write_text("2")
    done = subprocess.run([*SHELLS[shell], path], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.splitlines()[-1]) == (0, "2 proofs hold, 0 do not")
