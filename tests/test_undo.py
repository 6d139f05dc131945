"""Pull the plug, in a sandbox: what a rerun finds, what --undo takes back, what is said when a run stops.

The rules are the design's own and common practice (no source). Shells: dash, bash, busybox ash. Tables and file systems
are real ones on a loop device, read back with sfdisk(8) and blkid(8).
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import NAMESPACE_OID, uuid5

import pytest

from bedplate.actions import Action, ByHand, InTarget, Joined, Link, Run, Secret, SecretRef, Stage, WayBack
from bedplate.conditions import succeeds
from bedplate.install_graph import InstallGraph
from bedplate.rendering import action_flags, rescue_sheet, script
from bedplate.rendering.shell_runtime import part
from bedplate.units import MIB
from library import LIBRARY
from rendering import SHELLS, Sandbox, action, graph, writing
from test_disk_verbs import FS, LINUX, PAGE, ROOT, TABLE, Bench, call

NAME = "kelp-02\n"
FAR = "/cellar"
"""A folder of the sandbox's target that stands for the disk: what lies in `mounted` is only there while it is open."""


@pytest.fixture(params=sorted(SHELLS))
def shell(request: pytest.FixtureRequest) -> str:
    """Each shell in turn."""
    return str(request.param)


@pytest.fixture
def sandbox(tmp_path: Path) -> Sandbox:
    """A sandbox of its own for each test."""
    return Sandbox(tmp_path)


def opening(**fields: Any) -> Action:
    """An action that stands for a mount: a link to a folder that is always there. Its way back takes the link away."""
    link = Link(path=InTarget("/mounted"), to="cellar")
    given: dict[str, Any] = {
        "needs": ("filesystem:/",),
        "gives": ("mount:/",),
        "transient": True,
        "peek": (link,),
        "proofs": (succeeds("It is open", "test", "-L", InTarget("/mounted")),),
        "way_back": WayBack(note="It is closed.", operations=(Run(argv=("rm", "-f", InTarget("/mounted"))),)),
    }
    return action("demo.open", link, **{**given, **fields})


def base(**fields: Any) -> Action:
    """An action that stands for a new partition with its file system."""
    make = Run(argv=("mkdir", "-p", InTarget(FAR)))
    back = WayBack(note="It is deleted.", operations=(Run(argv=("rm", "-rf", InTarget(FAR))),))
    given: dict[str, Any] = {
        "gives": ("filesystem:/",),
        "proofs": (succeeds("It is there", "test", "-d", InTarget(FAR)),),
        "way_back": back,
    }
    return action("demo.make", make, **{**given, **fields})


def inside(name: str, **fields: Any) -> Action:
    """An action that writes a file where it can only be seen while the target is open."""
    back = WayBack(
        note=f"Remove {name}.", operations=(Run(argv=("touch", InTarget(f"/back-{name}"))),), goes_with="filesystem:/"
    )
    return writing(f"demo.{name}", f"/mounted/{name}", name, needs=("mount:/",), way_back=back, **fields)


def asking(name: str, **fields: Any) -> Action:
    """The same, with a secret in it."""
    secret = Secret(name="p", prompt="Password of ana")
    fill = Run(argv=("tee", InTarget(f"/mounted/{name}")), stdin=(SecretRef("p"),))
    there = succeeds("It is there", "test", "-s", InTarget(f"/mounted/{name}"))
    given: dict[str, Any] = {"needs": ("mount:/",), "secrets": (secret,), "proofs": (there,)}
    return action(f"demo.{name}", fill, **{**given, **fields})


def closing() -> Action:
    """The last action: everything is closed."""
    shut = Run(argv=("rm", "-f", InTarget("/mounted")))
    gone = succeeds("It is closed", "test", "!", "-L", InTarget("/mounted"))
    return action(
        "demo.close", shut, needs=("stage:target", "mount:/"), proofs=(gone,), transient=True, stage=Stage.TARGET
    )


def machine(*more: Action) -> InstallGraph:
    """A small machine: make, open, write, ask, close."""
    return graph(base(), opening(), inside("one"), asking("secret"), *more, closing())


def names(sandbox: Sandbox) -> list[str]:
    return sorted(item.name for item in sandbox.target.iterdir())


# --- a rerun ---------------------------------------------------------------------------------------------------------


def test_the_way_to_the_target_is_what_comes_before_its_mount() -> None:
    whole = machine(writing("demo.other", "/other", "x"))
    assert action_flags.way_to_target(whole) == {"demo.make", "demo.open"}


def test_a_rerun_looks_into_the_target_before_it_asks(sandbox: Sandbox, shell: str) -> None:
    text = script.render(machine())
    first = sandbox.run(text, shell, answers=f"x1\nx1\n{NAME}")
    assert (first.returncode, first.stderr) == (0, ""), first.stdout
    assert names(sandbox) == ["cellar"], "everything is closed"
    again = sandbox.run(text, shell, answers=NAME)
    assert (again.returncode, again.stderr) == (0, ""), again.stdout
    assert "Password" not in again.stdout
    assert again.stdout.count("already done, skipped") == 3
    assert names(sandbox) == ["cellar"]


def test_a_refused_rerun_leaves_nothing_open(sandbox: Sandbox, shell: str) -> None:
    text = script.render(machine())
    sandbox.run(text, shell, answers=f"x1\nx1\n{NAME}")
    refused = sandbox.run(text, shell, answers="limpet-01\n")
    assert (refused.returncode, "Nothing was changed." in refused.stdout) == (1, True)
    assert names(sandbox) == ["cellar"]


def test_a_secret_that_was_not_applied_is_asked_again(sandbox: Sandbox, shell: str) -> None:
    text = script.render(machine())
    sandbox.run(text, shell, answers=f"x1\nx1\n{NAME}")
    (sandbox.target / "cellar/secret").unlink()
    again = sandbox.run(text, shell, answers=f"x2\nx2\n{NAME}")
    assert (again.returncode, (sandbox.target / "cellar/secret").read_text()) == (0, "x2")


def test_a_secret_of_work_that_is_undone_on_the_way_is_asked_then(sandbox: Sandbox, shell: str) -> None:
    """What held at the look may have to be done after all, when what it stood on is made anew."""
    text = script.render(machine())
    sandbox.run(text, shell, answers=f"x1\nx1\n{NAME}")
    (sandbox.target / "cellar/one").unlink()
    fall = Run(argv=("rm", "-f", InTarget("/mounted/secret")))
    one = inside("one")
    changed = graph(
        base(),
        opening(),
        action("demo.one", *one.operations, fall, needs=one.needs, proofs=one.proofs),
        asking("secret", needs=("mount:/",)),
        closing(),
    )
    again = sandbox.run(script.render(changed), shell, answers=f"{NAME}x3\nx3\n")
    assert (again.returncode, (sandbox.target / "cellar/secret").read_text()) == (0, "x3"), again.stdout


def test_the_way_is_not_opened_where_lasting_work_is_missing(sandbox: Sandbox, shell: str) -> None:
    peeked = Run(argv=("touch", InTarget("/peeked")))
    text = script.render(graph(base(), opening(peek=(peeked,)), inside("one")))
    refused = sandbox.run(text, shell, answers="no\n")
    assert (refused.returncode, names(sandbox)) == (1, [])


def test_a_container_is_opened_for_the_look_with_its_passphrase(sandbox: Sandbox, shell: str) -> None:
    phrase = Secret(name="phrase", prompt="Passphrase")
    check = Run(argv=("grep", "-qx", "right"), stdin=(SecretRef("phrase"), "\n"))
    link = Link(path=InTarget("/mounted"), to="cellar")
    whole = graph(base(), opening(peek=(check, link), secrets=(phrase,)), inside("one"), asking("secret"), closing())
    text = script.render(whole)
    assert sandbox.run(text, shell, answers=f"right\nright\nx1\nx1\n{NAME}").returncode == 0
    again = sandbox.run(text, shell, answers=f"wrong\nwrong\nright\nright\n{NAME}")
    assert (again.returncode, "It does not open with that." in again.stdout) == (0, True), again.stdout
    assert "Password of ana" not in again.stdout
    never = sandbox.run(text, shell, answers="wrong\nwrong\n" * 3)
    assert (never.returncode, "Nothing was changed." in never.stdout, names(sandbox)) == (1, True, ["cellar"])


def test_the_keymap_is_loaded_before_a_password_is_typed(sandbox: Sandbox, shell: str) -> None:
    keys = action(
        "demo.keys",
        Run(argv=("touch", InTarget("/keys"))),
        gives=("keymap:live",),
        transient=True,
        proofs=(succeeds("Loaded", "test", "-e", InTarget("/keys")),),
    )
    text = script.render(graph(keys, base(), opening(), asking("secret")))
    refused = sandbox.run(text, shell, answers="x\nx\nno\n")
    assert (refused.returncode, names(sandbox)) == (1, ["keys"])


def test_what_was_said_once_is_not_asked_again(sandbox: Sandbox, shell: str) -> None:
    before = action("demo.backup", ByHand(text="Copy it."), stage=Stage.OTHER_SYSTEM)
    text = script.render(graph(before, base(), opening(), inside("one")))
    assert sandbox.run(text, shell, answers=f"yes\n{NAME}").returncode == 0
    again = sandbox.run(text, shell, answers=NAME)
    assert (again.returncode, "Have all of these been done?" in again.stdout) == (0, False)


def test_a_half_written_file_is_written_again_and_nothing_stays_beside_it(sandbox: Sandbox, shell: str) -> None:
    text = script.render(graph(writing("demo.one", "/etc/one", "1")))
    (sandbox.target / "etc").mkdir()
    (sandbox.target / "etc/.bedplate-new.one").write_text("hal")
    assert sandbox.run(text, shell).returncode == 0
    assert [item.name for item in (sandbox.target / "etc").iterdir()] == ["one"]


# --- the way back ----------------------------------------------------------------------------------------------------


def test_undo_goes_back_last_first_and_passes_over_what_goes_along(sandbox: Sandbox, shell: str) -> None:
    far = WayBack(note="Take it out.", operations=(Run(argv=("rm", "-f", InTarget("/other"))),))
    text = script.render(machine(writing("demo.other", "/other", "x", way_back=far)))
    assert sandbox.run(text, shell, answers=f"x1\nx1\n{NAME}").returncode == 0
    assert names(sandbox) == ["cellar", "other"]
    back = sandbox.run(text, shell, answers=NAME, options=["--undo"])
    assert (back.returncode, back.stderr) == (0, ""), back.stdout
    assert names(sandbox) == []
    assert back.stdout.index("It is closed.") < back.stdout.index("It is deleted."), "shown before it is confirmed"
    assert "Password" not in back.stdout and "back-one" not in back.stdout
    done = back.stdout[back.stdout.index("to take it back") :]
    assert done.index("Do demo.other") < done.index("Do demo.make")


def test_undo_can_be_run_again_and_where_nothing_was_done(sandbox: Sandbox, shell: str) -> None:
    text = script.render(machine())
    for _ in range(2):
        back = sandbox.run(text, shell, answers=NAME, options=["--undo"])
        assert (back.returncode, names(sandbox)) == (0, []), back.stdout


def test_undo_asks_for_the_right_name(sandbox: Sandbox, shell: str) -> None:
    text = script.render(machine())
    sandbox.run(text, shell, answers=f"x1\nx1\n{NAME}")
    for answer in ("limpet-01\n", "yes\n", ""):
        back = sandbox.run(text, shell, answers=answer, options=["--undo"])
        assert (back.returncode, "Nothing was changed." in back.stdout, names(sandbox)) == (1, True, ["cellar"])


def test_undo_after_every_prefix(sandbox: Sandbox, shell: str) -> None:
    whole = machine(
        writing(
            "demo.other",
            "/other",
            "x",
            way_back=WayBack(note="Take it out.", operations=(Run(argv=("rm", "-f", InTarget("/other"))),)),
        )
    )
    text = script.render(whole)
    for number in range(1, len(whole.nodes) + 1):
        one = Sandbox(sandbox.folder / str(number))
        wall = text.replace(f"do_{number}_", f"old_{number}_", 1).replace(
            "# --- actions:", f"do_{number}_{_tail(whole, number)}() {{ run false || return 1; }}\n# --- actions:", 1
        )
        stopped = one.run(wall, shell, answers=f"x1\nx1\n{NAME}")
        assert (stopped.returncode, f"STOPPED at [{number}/" in stopped.stdout) == (1, True), stopped.stdout
        assert one.run(text, shell, answers=NAME, options=["--undo"]).returncode == 0
        assert names(one) == []


def _tail(whole: InstallGraph, number: int) -> str:
    return script.function_suffix(whole.nodes[number - 1])


def test_undo_tells_what_it_cannot_take_back(sandbox: Sandbox, shell: str) -> None:
    shrink = action(
        "demo.shrink",
        ByHand(text="Shrink it."),
        stage=Stage.OTHER_SYSTEM,
        title="Shrink the volume",
        way_back=WayBack(note="Extend it there."),
    )
    lost = writing("demo.lost", "/lost", "x", way_back=WayBack(note="The old table is lost.", possible=False))
    never = writing("demo.never", "/never", "x", way_back=WayBack(note="Nobody will read this."))
    text = script.render(graph(shrink, lost))
    assert sandbox.run(text, shell, answers=f"yes\n{NAME}").returncode == 0
    back = sandbox.run(script.render(graph(shrink, lost, never)), shell, answers=NAME, options=["--undo"])
    end = back.stdout[back.stdout.index("Not taken back") :]
    assert end.index("Cannot be undone. The old table is lost.") < end.index("Extend it there.")
    assert "Nobody will read this" not in end


def test_a_way_back_that_fails_stops_and_can_be_tried_again(sandbox: Sandbox, shell: str) -> None:
    wall = WayBack(note="Wait.", operations=(Run(argv=("test", "-e", InTarget("/free"))),))
    text = script.render(graph(base(), writing("demo.one", "/one", "1", way_back=wall)))
    assert sandbox.run(text, shell).returncode == 0
    back = sandbox.run(text, shell, answers=NAME, options=["--undo"])
    assert (back.returncode, "STOPPED at [2/2]" in back.stdout, "script.sh --undo" in back.stdout) == (1, True, True)
    assert "cellar" in names(sandbox), "what comes before it is not taken back from under it"
    (sandbox.target / "free").touch()
    assert sandbox.run(text, shell, answers=NAME, options=["--undo"]).returncode == 0
    assert "cellar" not in names(sandbox)


# --- when a run stops ------------------------------------------------------------------------------------------------


def test_the_report_gives_both_choices_to_type(sandbox: Sandbox, shell: str) -> None:
    bad = action("demo.bad", Run(argv=("sh", "-c", "echo no more room; exit 28")))
    done = sandbox.run(script.render(graph(base(), opening(), inside("one"), bad)), shell)
    path = sandbox.folder / "script.sh"
    for said in (
        "STOPPED at [4/4] Do demo.bad",
        "Exit status: 28",
        "no more room",
        f"run again: sh {path}",
        f"Go back: sh {path} --undo",
        "goes with its partitions: [3]",
        "It is deleted.",
    ):
        assert said in done.stdout, said


@pytest.mark.parametrize("name", ["INT", "TERM", "HUP", "QUIT"])
def test_an_interrupted_run_reports_and_a_rerun_ends_it(sandbox: Sandbox, shell: str, name: str) -> None:
    wait = Run(argv=("sh", "-c", 'echo >"$0"/begun; [ -e "$0"/short ] || sleep 20', InTarget("/")))
    text = script.render(graph(writing("demo.one", "/one", "1"), action("demo.wait", wait)))
    path = sandbox.place(text)
    with subprocess.Popen(
        [*SHELLS[shell], str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, start_new_session=True
    ) as child:
        assert child.stdin is not None and child.stdout is not None
        child.stdin.write(NAME)
        child.stdin.flush()
        _wait_for(sandbox.target / "begun")
        os.killpg(child.pid, getattr(signal, f"SIG{name}"))
        said, _ = child.communicate(timeout=60)
    assert child.returncode == 128 + getattr(signal, f"SIG{name}")
    assert "Interrupted by a signal" in said and f"sh {path} --undo" in said
    assert not list(sandbox.scratch.iterdir()), "no secret stays"
    (sandbox.target / "short").touch()
    again = sandbox.run(text, shell)
    assert (again.returncode, "Do demo.one: already done" in again.stdout) == (0, True)


def test_a_run_whose_shell_is_killed_is_ended_by_a_rerun(sandbox: Sandbox, shell: str) -> None:
    wait = Run(argv=("sh", "-c", 'echo >"$0"/begun; [ -e "$0"/short ] || sleep 20', InTarget("/")))
    text = script.render(graph(writing("demo.one", "/one", "1"), action("demo.wait", wait)))
    path = sandbox.place(text)
    with subprocess.Popen(
        [*SHELLS[shell], str(path)], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True, start_new_session=True
    ) as child:
        assert child.stdin is not None
        child.stdin.write(NAME)
        child.stdin.flush()
        _wait_for(sandbox.target / "begun")
        os.killpg(child.pid, signal.SIGKILL)
    (sandbox.target / "short").touch()
    assert sandbox.run(text, shell).returncode == 0


def test_a_command_that_is_killed_stops_its_action(sandbox: Sandbox, shell: str) -> None:
    # POSIX, 2.8.2: a command ended by a signal has a status above 128
    done = sandbox.run(script.render(graph(action("demo.bad", Run(argv=("sh", "-c", "kill -9 $$"))))), shell)
    assert (done.returncode, "Exit status: 137" in done.stdout) == (1, True)


def test_a_second_copy_is_refused_while_the_first_runs(sandbox: Sandbox, shell: str) -> None:
    hold = ["flock", str(sandbox.folder / "lock"), "sh", "-c", f"echo >{sandbox.folder}/held; sleep 20"]
    with subprocess.Popen(hold, start_new_session=True) as first:
        _wait_for(sandbox.folder / "held")
        for options in ([], ["--undo"]):
            second = sandbox.run(script.render(machine()), shell, options=options)
            assert (second.returncode, "Another copy" in second.stdout, names(sandbox)) == (1, True, [])
        os.killpg(first.pid, signal.SIGKILL)


def test_a_full_disk_stops_with_a_report_and_room_ends_it(sandbox: Sandbox, shell: str) -> None:
    if os.getuid() != 0:
        pytest.skip("a small file system takes root")
    text = script.render(
        graph(
            action(
                "demo.fill", Run(argv=("dd", "if=/dev/zero", Joined(("of=", InTarget("/fill"))), "bs=1M", "count=3"))
            ),
            writing("demo.one", "/etc/one", "1"),
        )
    )
    call("mount", "-t", "tmpfs", "-o", "size=2m", "small", sandbox.target)
    try:
        done = sandbox.run(text, shell)
        assert (done.returncode, "No space left" in done.stdout, "--undo" in done.stdout) == (1, True, True)
        call("mount", "-o", "remount,size=8m", sandbox.target)
        assert sandbox.run(text, shell).returncode == 0
    finally:
        call("umount", sandbox.target)


def test_a_source_that_vanishes_half_way_stops_with_a_report_and_a_rerun_fetches_the_rest(
    sandbox: Sandbox, shell: str
) -> None:
    port, pid, back = free_port(), sandbox.folder / "pid", sandbox.folder / "back"
    for name in ("one", "two"):
        (sandbox.folder / name).write_text(name)
    vanish = Run(argv=("sh", "-c", f"[ -e {back} ] || kill $(cat {pid})"))
    text = script.render(graph(fetching("one", port), action("demo.vanish", vanish), fetching("two", port)))
    for attempt, status in ((1, 1), (2, 0)):
        with subprocess.Popen(
            ["python3", "-m", "http.server", "-b", "127.0.0.1", str(port)],
            cwd=sandbox.folder,
            stderr=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
        ) as server:
            pid.write_text(str(server.pid))
            listening(port)
            done = sandbox.run(text, shell)
            server.kill()
        assert done.returncode == status, done.stdout
        assert ("STOPPED at [3/3]" in done.stdout) == (attempt == 1)
        assert ("Do demo.one: already done" in done.stdout) == (attempt == 2)
        back.touch()
    assert (sandbox.target / "two").read_text() == "two"


def fetching(name: str, port: int) -> Action:
    """An action that fetches one file into the target."""
    fetch = Run(argv=("curl", "-fsS", f"http://127.0.0.1:{port}/{name}"), stdout_to=InTarget(f"/{name}"))
    return action(f"demo.{name}", fetch, proofs=(succeeds("It is there", "test", "-s", InTarget(f"/{name}")),))


def free_port() -> int:
    """A port nobody listens on."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def listening(port: int) -> None:
    """Wait until somebody answers there."""
    for _ in range(200):
        with socket.socket() as one:
            if one.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise AssertionError(f"nobody listens on {port}")


def _wait_for(path: Path) -> None:
    for _ in range(200):
        if path.exists():
            return
        time.sleep(0.05)
    raise AssertionError(f"{path} never appeared")


# --- half-done work on a disk ----------------------------------------------------------------------------------------


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A loop device; skipped where there is none."""
    if os.getuid() != 0 or not Path("/dev/loop-control").exists():
        pytest.skip("a loop device needs root and /dev/loop-control")
    image = tmp_path / "disk.img"
    (tmp_path / "target").mkdir()
    (tmp_path / "work").mkdir()
    with image.open("wb") as file:
        file.truncate(200 * MIB)
    node = call("losetup", "--find", "--show", image).strip()
    try:
        yield Bench(node=node, image=image, target=tmp_path / "target", work=tmp_path / "work", shell="dash")
    finally:
        subprocess.run(["partx", "--delete", node], check=False, capture_output=True)
        call("losetup", "--detach", node)


KEPT = f'label: gpt\nlabel-id: {TABLE}\nstart=2048, size=65536, type={LINUX}, uuid={ROOT}, name="kept"\n'
ROW = f'start=67584, size=65536, type={LINUX}, uuid={PAGE}, name="unfinished-page"\n'
PLAN = f"OUR_ROWS='{PAGE} 67584 65536 {LINUX} ext4 {FS} - page'"
"""What the script's constant says of it."""
SECTORS = 200 * 2048


def damage(bench: Bench, sector: int) -> None:
    """Zeros on one sector, past the kernel's memory of it."""
    with open(bench.node, "r+b", buffering=0) as file:
        file.seek(sector * 512)
        file.write(bytes(512))
        os.fsync(file.fileno())


@pytest.mark.parametrize("sector", [1, 2, SECTORS - 1, SECTORS - 33])
def test_a_table_that_was_cut_short_is_mended(bench: Bench, sector: int) -> None:
    """Header and entries, first and second copy: UEFI specification 5.3.1. sfdisk reads the result."""
    call("sfdisk", "--quiet", "--no-reread", bench.node, text=KEPT)
    before = call("sfdisk", "--dump", bench.node)
    bench.holds(f"verb_append_partitions {PAGE}", ROW)
    whole = call("sfdisk", "--dump", bench.node)
    damage(bench, sector)
    assert "corrupt" in bench.fails("verb_table_read").lower(), "nobody's table is mended"
    ours = f"OUR_PARTITIONS={PAGE}"
    assert bench.run(f"{ours}\nverb_table_is_sound\n").returncode == 1
    bench.holds(f"{ours}\nverb_table_read\nverb_append_partitions {PAGE}\nverb_table_is_sound", ROW)
    assert call("sfdisk", "--dump", bench.node) == whole
    damage(bench, sector)
    bench.holds(f"{ours}\n{PLAN}\nverb_delete_partitions {PAGE}\nverb_table_is_sound")
    assert call("sfdisk", "--dump", bench.node) == before


def test_two_whole_copies_that_differ_are_made_equal(bench: Bench) -> None:
    """A cut between the two copies: the first is new, the second is old, and both have a good checksum."""
    call("sfdisk", "--quiet", "--no-reread", bench.node, text=KEPT)
    old = bench.image.read_bytes()[-33 * 512 :]
    bench.holds(f"verb_append_partitions {PAGE}", ROW)
    with open(bench.node, "r+b", buffering=0) as file:
        file.seek((SECTORS - 33) * 512)
        file.write(old)
        os.fsync(file.fileno())
    assert "differ" in bench.fails("verb_table_is_sound")
    bench.holds(f"verb_append_partitions {PAGE}\nverb_table_is_sound", ROW)


def test_what_lay_in_the_free_space_is_gone_before_a_row_names_it(bench: Bench) -> None:
    call("sfdisk", "--quiet", "--no-reread", bench.node, text=KEPT)
    with bench.image.open("r+b") as file:
        file.seek(67584 * 512 + 1080)
        file.write(b"\x53\xef")
    bench.holds("verb_clear_places", ROW)
    assert bench.image.read_bytes()[67584 * 512 :][:MIB] == bytes(MIB)


@pytest.mark.parametrize(
    ("kind", "label"),
    [
        ("ext4", "kelp"),
        ("ext4", ""),
        ("xfs", "kelp"),
        ("xfs", ""),
        ("btrfs", "kelp"),
        ("btrfs", ""),
        ("vfat", "KELP"),
        ("vfat", ""),
        ("swap", "kelp"),
        ("swap", ""),
    ],
)
def test_a_file_system_gets_its_label_last(bench: Bench, tmp_path: Path, kind: str, label: str) -> None:
    """As blkid(8) reads it; one that was cut short has another label, is not taken for whole, and may be made again."""
    image = tmp_path / "part.img"
    with image.open("wb") as file:
        file.truncate(400 * MIB)
    own = uuid5(NAMESPACE_OID, f"{kind} {label}")  # mkfs.btrfs(8) makes no second one of a UUID, whatever runs beside
    uuid = "1A2B-3C4D" if kind == "vfat" else str(own)
    node = call("losetup", "--find", "--show", image).strip()
    try:
        bench.holds(f"verb_make_filesystem {node} {kind} {uuid} '{label}'")
        bench.holds(f"verb_filesystem_is {node} {kind} {uuid} '{label}'")
        rename = {
            "ext4": "e2label {} unfinished",
            "xfs": "xfs_admin -L unfinished {}",
            "btrfs": "btrfs filesystem label {} unfinished",
            "vfat": "fatlabel {} UNFINISHED",
            "swap": "swaplabel -L unfinished {}",
        }[kind]
        call(*rename.format(node).split())
        assert "unfinished" in bench.fails(f"verb_filesystem_is {node} {kind} {uuid} '{label}'").lower()
        call("sfdisk", "--quiet", "--no-reread", bench.node, text=KEPT + ROW.replace('"page"', '"unfinished-page"'))
        bench.holds(f"verb_may_format {node} {kind} {uuid} {PAGE} unfinished-page")
        bench.holds(f"verb_make_filesystem {node} {kind} {uuid} '{label}'")
        bench.holds(f"verb_filesystem_is {node} {kind} {uuid} '{label}'")
    finally:
        call("losetup", "--detach", node)


# --- half-done work in a target --------------------------------------------------------------------------------------


def test_a_base_between_its_end_and_its_stamp_is_known_as_ours(bench: Bench) -> None:
    stamps = bench.target / "var/lib/bedplate/stamps"
    bench.holds("verb_base_begin\nmkdir $TARGET/etc\nverb_base_done\nverb_target_empty")
    bench.holds("verb_base_begin\n! test -e $TARGET/etc\nmkdir $TARGET/etc\nverb_base_done")
    stamps.mkdir(parents=True)
    (stamps / "base.unpack").write_text("other\n")
    assert "not empty" in bench.fails("verb_target_empty"), "an installed system is nobody's to empty"


def test_a_base_that_is_made_anew_takes_its_stamps_along(bench: Bench) -> None:
    keep = bench.target / "var/lib/bedplate"
    (keep / "stamps").mkdir(parents=True)
    (keep / "stamps/demo.image").write_text("x\n")
    (keep / "boot").mkdir()
    (keep / "boot/complete").touch()
    bench.holds("verb_base_mark\nverb_base_begin")
    assert not (keep / "stamps/demo.image").exists() and (keep / "boot/complete").exists()


# --- the rescue sheet ------------------------------------------------------------------------------------------------


def test_the_rescue_sheet_of_no_disk_is_empty() -> None:
    assert rescue_sheet.sheet(machine()) == ()


def test_ways_back_are_told_from_those_that_go_along() -> None:
    whole = machine()
    given, way = action_flags.tokens(whole), action_flags.way_to_target(whole)
    flags = {node.action.id: action_flags.flags(node, way, given) for node in whole.nodes}
    assert "ours" in flags["demo.make"] and "undo" in flags["demo.make"]
    assert "goes" in flags["demo.one"] and "undo" not in flags["demo.one"]
    assert "peek" in flags["demo.open"] and "lasting" not in flags["demo.open"]
    assert {"demo.make", "demo.open"} == {name for name, found in flags.items() if "reach" in found}


# --- names -----------------------------------------------------------------------------------------------------------


def test_a_command_is_never_taken_for_a_function_of_the_script(sandbox: Sandbox, shell: str) -> None:
    """Found on the bench: install(1) started the whole script anew. Every function of the runtime is tried."""
    runtime = "".join(part(name) for name in ("common", "run", "secrets", "look", "install", "undo", "report"))
    found = sorted({line.split("()")[0] for line in runtime.splitlines() if line.endswith("() {")} - {"in_target"})
    assert "install_machine" in found and "say" in found
    for name in found:
        sandbox.fake(name, f'echo {name} >>"{sandbox.folder}/ran"')
    runs = [
        action(f"demo.run-{number}", Run(argv=(name,)), proofs=(succeeds("It runs", name),))
        for number, name in enumerate(found)
    ]
    done = sandbox.run(script.render(graph(*runs, action("demo.last", Run(argv=("false",))))), shell)
    skipped = {line for line in done.stdout.splitlines() if line.endswith("already done, skipped")}
    assert len({line.strip() for line in skipped}) == len(found), done.stdout
    assert set((sandbox.folder / "ran").read_text().split()) == set(found)


# --- other name spaces -----------------------------------------------------------------------------------------------


def test_a_file_system_is_unmounted_in_every_name_space(tmp_path: Path) -> None:
    """Found on the bench: services of a medium have mount name spaces (systemd.exec(5), PrivateMounts=) into which the
    target's mounts spread; a FAT that is still mounted in one of them stays marked as in use."""
    if os.getuid() != 0:
        pytest.skip("mounting takes root")
    target, image = tmp_path / "target", tmp_path / "fs.img"
    target.mkdir()
    (tmp_path / "work").mkdir()
    with image.open("wb") as file:
        file.truncate(16 * MIB)
    call("mkfs.ext4", "-q", "-F", image)
    node = call("losetup", "--find", "--show", image).strip()
    head = f"set -u\nNEW_LINE='\n'\nDISK={node} TARGET={target} WORK={tmp_path}/work\n"
    head += "say() { printf '%s\\n' \"$*\"; }\n"
    lines = f"""
mount --bind {tmp_path} {tmp_path}
mount --make-shared {tmp_path}
unshare --mount --propagation slave sleep 30 & service=$!
unshare --mount --propagation private sleep 30 & hermit=$!
sleep 1
mount -t ext4 {node} {target}
mkdir {target}/run
mount -t tmpfs run {target}/run
mount --make-private {target}/run
sleep 0.2
grep -q {target} /proc/$service/mountinfo || exit 8
! grep -q {target} /proc/$hermit/mountinfo || exit 7
verb_close_target || exit 6
! grep -q {target} /proc/$service/mountinfo || exit 5
mount -t ext4 {node} {target}
unshare --mount --propagation private sleep 30 & late=$!
sleep 0.5
! verb_close_target || exit 4
kill $late $service $hermit
sleep 0.2
verb_target_is_closed || exit 3
"""
    command = [
        "unshare",
        "--mount",
        "--propagation",
        "private",
        "dash",
        "-c",
        head + LIBRARY.text(["disk/close-target"]) + lines,
    ]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
        assert done.returncode == 0, (done.returncode, done.stdout, done.stderr)
        assert "in the name space of process" in done.stderr and "(sleep)" in done.stderr
    finally:
        call("losetup", "--detach", node)
