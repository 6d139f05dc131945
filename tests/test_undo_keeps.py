"""What --undo may not take: partitions that are somebody else's by now, another plan's work, a system in use elsewhere.

A small plan is carried out by its rendered script on a loop device: two rows, ext4 and swap, one file in the new root.
Then somebody else comes by, and the script is run with --undo. Tables are read back by sfdisk(8), contents by blkid(8).
"""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from attrs import evolve, field, frozen

from bedplate.actions import Action, Call, Disk, InTarget, Run, WayBack
from bedplate.conditions import holds
from bedplate.facts import LaidPartition, Layout
from bedplate.rendering import script
from bedplate.units import MIB
from rendering import Sandbox, action, graph, writing
from test_disk_verbs import FS, HOME, LINUX, PAGE, ROOT, SWAP, TABLE, call

SIZE = 400 * MIB
KEPT = f'label: gpt\nlabel-id: {TABLE}\nstart=2048, size=65536, type={LINUX}, uuid={HOME}, name="kept"\n'
NEW = (
    LaidPartition(
        name="root",
        new=True,
        number=2,
        start=67584,
        size=204800,
        type=LINUX,
        uuid=ROOT,
        gpt_name="root",
        filesystem="ext4",
        fs_uuid=f"{FS}1",
        mount="/",
        role="root",
    ),
    LaidPartition(
        name="page",
        new=True,
        number=3,
        start=272384,
        size=65536,
        type=SWAP,
        uuid=PAGE,
        gpt_name="page",
        filesystem="swap",
        fs_uuid=f"{FS}2",
        role="swap",
    ),
)
NAME = "kelp-02\n"


@frozen(kw_only=True)
class Machine:
    """A disk, and a folder for each script that is run on it."""

    node: str
    by_id: Path
    folder: Path
    boxes: list[Sandbox] = field(factory=list)

    def plan(self, parts: tuple[LaidPartition, ...] = NEW, text: str = "ours", strange: bool = False) -> str:
        """The script: rows with the mark of unfinished ones, contents, the final names, the root mounted, a file.

        `strange`: a guard before all of them says that the disk is not as the survey saw it.
        """
        rows = [_identify(), evolve(_rows(parts), needs=("disk:identified",))] if strange else [_rows(parts)]
        actions = [
            *rows,
            *(_format(part) for part in parts),
            _finish(parts),
            _mount(parts[0]),
            writing(
                "demo.file",
                "/etc/ours",
                text,
                needs=("mount:/",),
                way_back=WayBack(note="It goes with the root.", goes_with="filesystem:/"),
            ),
        ]
        layout = Layout(
            disk_words="a disk",
            serial="",
            by_id=str(self.by_id),
            size_bytes=SIZE,
            sector_size=512,
            table_id=TABLE,
            whole_disk=False,
            first_lba=2048,
            last_lba=SIZE // 512 - 34,
            partitions=parts,
        )
        return script.render(graph(*actions, facts={Layout: layout}))

    def run(self, text: str, *options: str, answers: str = NAME) -> subprocess.CompletedProcess[str]:
        """The script in a mount name space of its own."""
        box = Sandbox(self.folder / str(len(self.boxes)))
        self.boxes.append(box)
        command = ["unshare", "--mount", "--propagation", "private", "dash", str(box.place(text)), *options]
        return subprocess.run(command, input=answers, capture_output=True, text=True, timeout=120, cwd=box.folder)

    def table(self) -> str:
        return call("sfdisk", "--dump", self.node)

    def names(self) -> list[str]:
        """Names of the rows that are there."""
        return [line.split('name="')[1].split('"')[0] for line in self.table().splitlines() if "name=" in line]

    def undo(self, text: str) -> tuple[int, str]:
        done = self.run(text, "--undo")
        assert done.stderr == "", done.stderr
        return done.returncode, done.stdout

    def look(self, node: str, lines: str) -> str:
        """Shell lines with the partition mounted at `$at`."""
        at = self.folder / "at"
        at.mkdir(exist_ok=True)
        whole = f"at={at}; mount {node} $at || exit 9\n{lines}\n"
        return call("unshare", "--mount", "--propagation", "private", "dash", "-c", whole)


def _identify() -> Action:
    known = holds("It is known", "disk/partition-is", HOME, "2048", "65536", LINUX, "another name")
    return action("demo.identify", guards=(known,), gives=("disk:identified",), changes=False)


def _rows(parts: tuple[LaidPartition, ...]) -> Action:
    rows = "".join(
        f'start={part.start}, size={part.size}, type={part.type}, uuid={part.uuid}, name="unfinished-{part.gpt_name}"\n'
        for part in parts
    )
    uuids = tuple(part.uuid for part in parts)
    back = WayBack(note="They are deleted.", operations=(Call(verb="disk/delete-partitions", args=uuids),))
    there = tuple(
        holds("It is there", "disk/partition-is", part.uuid, str(part.start), str(part.size), part.type, early=False)
        for part in parts
    )
    return action(
        "demo.rows",
        Call(verb="disk/append-partitions", args=uuids, stdin=(rows,)),
        gives=("disk:partitioned",),
        proofs=there,
        way_back=back,
    )


def _format(part: LaidPartition) -> Action:
    words = (part.uuid, part.filesystem, part.fs_uuid)
    return action(
        f"demo.format-{part.name}",
        Call(verb="disk/make-filesystem", args=(*words, part.name)),
        needs=("disk:partitioned",),
        gives=(f"filesystem:{part.mount or part.name}",),
        proofs=(holds("It is there", "disk/filesystem-is", *words, part.name, early=False),),
        way_back=WayBack(note="It goes along.", goes_with="disk:partitioned"),
    )


def _finish(parts: tuple[LaidPartition, ...]) -> Action:
    named = [
        Run(
            argv=(
                "sfdisk",
                "-q",
                "--no-reread",
                "--no-tell-kernel",
                "--part-label",
                Disk(),
                str(part.number),
                part.gpt_name,
            )
        )
        for part in parts
    ]
    proofs = tuple(
        holds(
            "Named",
            "disk/partition-is",
            part.uuid,
            str(part.start),
            str(part.size),
            part.type,
            part.gpt_name,
            early=False,
        )
        for part in parts
    )
    needs = tuple(f"filesystem:{part.mount or part.name}" for part in parts)
    return action(
        "demo.finish",
        *named,
        needs=needs,
        gives=("disk:finished",),
        proofs=proofs,
        way_back=WayBack(note="It goes along.", goes_with="disk:partitioned"),
    )


def _mount(root: LaidPartition) -> Action:
    words = (root.uuid, InTarget("/"), "ext4")
    return action(
        "demo.mount",
        Call(verb="disk/mount-in-target", args=(*words, "rw")),
        needs=("disk:finished",),
        gives=("mount:/",),
        transient=True,
        peek=(Call(verb="disk/look-in-target", args=words),),
        proofs=(holds("It is mounted", "is-mounted", root.uuid, InTarget("/"), early=False),),
        way_back=WayBack(note="It is unmounted.", operations=(Call(verb="disk/close-target"),)),
    )


@pytest.fixture
def machine(tmp_path: Path) -> Iterator[Machine]:
    """A disk with one row that is kept; skipped where there are no loop devices."""
    if os.getuid() != 0 or not Path("/dev/loop-control").exists():
        pytest.skip("a loop device needs root and /dev/loop-control")
    image, by_id = tmp_path / "disk.img", Path("/dev/disk/by-id") / f"bedplate-undo-{os.getpid()}"
    with image.open("wb") as file:
        file.truncate(SIZE)
    node = call("losetup", "--find", "--show", image).strip()
    try:
        by_id.parent.mkdir(parents=True, exist_ok=True)
        by_id.symlink_to(node)
        call("sfdisk", "--quiet", "--no-reread", node, text=KEPT)
        yield Machine(node=node, by_id=by_id, folder=tmp_path)
    finally:
        by_id.unlink(missing_ok=True)
        subprocess.run(["partx", "--delete", node], check=False, capture_output=True)
        call("losetup", "--detach", node)


def cut(text: str, number: int) -> str:
    """The same script, which ends at that action."""
    title = next(line for line in text.splitlines() if line.startswith(f"do_{number}_"))
    wall = f"{title}\n    run false || return 1\n}}\n"
    return text.replace(title, f"old_{title}", 1).replace("# --- actions:", f"{wall}# --- actions:", 1)


def installed(machine: Machine) -> str:
    text = machine.plan()
    done = machine.run(text)
    assert done.returncode == 0, done.stdout + done.stderr
    return text


def test_what_is_ours_is_taken_back_whole(machine: Machine) -> None:
    before = machine.table()
    text = installed(machine)
    assert machine.names() == ["kept", "root", "page"]
    code, said = machine.undo(text)
    assert (code, machine.table()) == (0, before), said
    assert machine.undo(text)[0] == 0, "and once more, where nothing is left"


@pytest.mark.parametrize("then", ["undone", "installed"])
@pytest.mark.parametrize(
    "after", ["verb_mark_unfinished $v_doomed", 'verb_clear_places <"$WORK/doomed"', "sfdisk --delete"]
)
def test_an_undo_that_was_cut_off_leaves_what_the_next_run_knows(machine: Machine, after: str, then: str) -> None:
    before, text = machine.table(), installed(machine)
    body = text[text.index("verb_delete_partitions() {") :]
    line = next(line for line in body.splitlines() if after in line)
    whole = line.replace(after, f"{after} && exit 99") if after != "sfdisk --delete" else f"{line}\n    exit 99"
    assert machine.undo(text.replace(line, whole))[0] == 99
    if then == "installed":
        done = machine.run(text)
        assert (done.returncode, machine.names()) == (0, ["kept", "root", "page"]), done.stdout
    code, said = machine.undo(text)
    assert (code, machine.table()) == (0, before), said


@pytest.mark.parametrize("number", [1, 2, 3, 4, 5, 6])
def test_what_was_cut_short_is_taken_back_whole(machine: Machine, number: int) -> None:
    before, text = machine.table(), machine.plan()
    assert f"STOPPED at [{number}/6]" in machine.run(cut(text, number)).stdout
    code, said = machine.undo(text)
    assert (code, machine.table()) == (0, before), said


@pytest.mark.parametrize("record", ["ours", "nobody's"])
def test_a_journal_that_a_power_cut_left_open_hides_no_record(machine: Machine, record: str) -> None:
    """The image is taken while all is mounted. sync(2) has brought the record of an ext4 to its place; elsewhere it may
    lie in the log alone, so that the answer is given once the root is open: what is nobody's is refused then.
    """
    before, text, image = machine.table(), machine.plan(), machine.folder / "disk.img"
    keep = machine.folder / "cut.img"
    wall = cut(text, 6).replace("run false || return 1", f"cp --sparse=always {image} {keep}; run false || return 1")
    assert "STOPPED at [6/6]" in machine.run(wall).stdout
    with keep.open("rb") as source, open(machine.node, "r+b", buffering=0) as disk:
        while block := source.read(MIB):
            disk.write(block)
        os.fsync(disk.fileno())
    assert "needs_recovery" in call("dumpe2fs", "-h", f"{machine.node}p2")
    if record == "nobody's":
        machine.look(f"{machine.node}p2", "rm -r $at/var/lib/bedplate/specs; echo >$at/file")
    cut_short = machine.table()
    code, said = machine.undo(text)
    wanted = (0, before) if record == "ours" else (1, cut_short)
    assert (code, machine.table()) == wanted, said
    mounts = call("unshare", "--mount", "findmnt", "-rno", "TARGET")
    assert str(machine.boxes[-1].target) not in mounts


def reformatted(machine: Machine) -> str:
    """Somebody has made a file system of their own on our swap partition."""
    call("mkfs.ext4", "-q", "-F", "-L", "heron", f"{machine.node}p3")
    return "ext4"


def zeroed(machine: Machine) -> str:
    """Nothing is seen where something was finished once: doubt, not blank (a superblock can be brought back)."""
    with open(f"{machine.node}p3", "r+b", buffering=0) as file:
        file.write(bytes(MIB))
        os.fsync(file.fileno())
    return "nothing that is known"


def resized(machine: Machine) -> str:
    call("sfdisk", "-q", "--no-reread", "-N", "3", machine.node, text=",32768\n")
    call("partx", "--update", machine.node)
    return "32768 sectors"


def renamed(machine: Machine) -> str:
    call("sfdisk", "-q", "--no-reread", "--part-label", machine.node, "3", "heron-swap")
    return "heron-swap"


@pytest.mark.parametrize("happens", [reformatted, zeroed, resized, renamed])
def test_a_partition_that_is_not_ours_any_more_is_named_and_stays(
    machine: Machine, happens: Callable[[Machine], str]
) -> None:
    text = installed(machine)
    words = happens(machine)
    code, said = machine.undo(text)
    assert code == 1 and "LEFT" in said and words in said[said.index("LEFT") :], said
    assert "it stays" in said[: said.index("Type the name")], "said before the question, too"
    assert machine.names()[:2] == ["kept", machine.names()[1]] and PAGE in machine.table()
    assert ROOT not in machine.table(), "what is ours goes all the same"


def test_a_partition_in_use_elsewhere_stays_and_the_next_run_ends_it(machine: Machine, tmp_path: Path) -> None:
    before, text = machine.table(), installed(machine)
    call("swapon", f"{machine.node}p3")
    try:
        code, said = machine.undo(text)
        assert (code, machine.names()) == (1, ["kept", "root", "page"]), said
        assert "in use" in said and "run this again" in said and "record of this plan" in said
    finally:
        call("swapoff", f"{machine.node}p3")
    assert machine.undo(text)[0] == 0
    assert machine.table() == before


def test_a_script_that_never_ran_takes_nothing_of_another_plan(machine: Machine) -> None:
    """The same name, disk and partitions, other contents: GUIDs are the same, the plan is not."""
    installed(machine)
    whole, never = machine.table(), machine.plan(text="another plan's")
    code, said = machine.undo(never)
    assert (code, machine.table()) == (1, whole)
    assert "another plan's" in said and "Nothing was changed." in said
    assert machine.look(f"{machine.node}p2", "cat $at/etc/ours") == "ours"


def test_whose_work_it_is_is_read_without_a_change_on_a_disk_that_has_become_strange(machine: Machine) -> None:
    """An ext4 that is mounted to be written to notes the time of it (ext4(5), the superblock's mount time)."""
    installed(machine)
    whole = Path(machine.node).read_bytes()
    code, said = machine.undo(machine.plan(text="another plan's", strange=True))
    assert code == 1 and "another plan's" in said and "Nothing was changed." in said, said
    assert Path(machine.node).read_bytes() == whole


def test_a_script_with_another_size_takes_nothing(machine: Machine) -> None:
    """As above; and with the record of the other plan gone, too, since rows that are not as planned are not ours."""
    installed(machine)
    root, page = NEW
    bigger = (evolve(root, size=root.size + 2048), evolve(page, start=page.start + 2048))
    never, whole = machine.plan(parts=bigger), machine.table()
    assert machine.undo(never)[0] == 1 and machine.table() == whole
    machine.look(f"{machine.node}p2", "rm -r $at/var/lib/bedplate/specs")
    code, said = machine.undo(never)
    assert (code, machine.table()) == (1, whole), said
    assert "this plan has it at" in said


def test_work_without_any_record_is_not_taken_back(machine: Machine) -> None:
    text, whole = installed(machine), machine.table()
    machine.look(f"{machine.node}p2", "rm -r $at/var/lib/bedplate/specs")
    code, said = machine.undo(text)
    assert (code, machine.table()) == (1, whole) and "Nothing says that it was this plan" in said


def test_a_new_system_that_is_gone_leaves_what_only_it_could_tell(machine: Machine, tmp_path: Path) -> None:
    """Somebody has formatted the root: nothing tells any more which plan made the rest, so all of it stays."""
    text = installed(machine)
    call("mkfs.ext4", "-q", "-F", "-L", "heron", f"{machine.node}p2")
    whole = machine.table()
    code, said = machine.undo(text)
    assert (code, machine.table()) == (1, whole), said
    assert "Nothing says that it was this plan" in said


def test_undo_on_a_disk_without_anything_of_ours_takes_nothing(machine: Machine) -> None:
    before = machine.table()
    code, said = machine.undo(machine.plan())
    assert (code, machine.table()) == (0, before) and "there is nothing to take back" in said


def test_what_lies_on_the_partitions_stands_above_the_question(machine: Machine) -> None:
    """Used and last written as dumpe2fs(8) prints them of the superblock."""
    text = installed(machine)
    done = machine.run(text, "--undo", answers="no\n")
    said = done.stdout[: done.stdout.index("Type the name")]
    shown = said[said.index("On these partitions lies now") :]
    dumped = call("dumpe2fs", "-h", f"{machine.node}p2")
    written = next(line for line in dumped.splitlines() if line.startswith("Last write time")).split(":", 1)[1].strip()
    assert f"{machine.node}p2 (root, 100M): ext4, label root, UUID {FS}1; used: " in shown
    assert f"last written: {written}" in shown
    assert f"{machine.node}p3 (page, 32M): swap, label page, UUID {FS}2; used: unknown" in shown
    assert done.returncode == 1 and machine.names() == ["kept", "root", "page"]
