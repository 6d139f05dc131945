"""The work by hand, as the checklists of the example machines tell it: order, commands that can be typed, and guards.

Every block is read by the shells dash, bash and busybox, Markdown by markdown-it-py (CommonMark 0.31); what a guard of
the disk prints is tried on an image with a table by sfdisk(8).
"""

from __future__ import annotations

import re
import subprocess
from functools import cache
from pathlib import Path

import pytest
from markdown_it import MarkdownIt
from markdown_it.token import Token

from bedplate.actions import Call, Run, Stage, Succeeds, WriteFile
from bedplate.cli import commands
from bedplate.compiling import pipeline
from bedplate.facts import LaidPartition
from bedplate.install_graph import InstallGraph
from bedplate.loading.registry import load
from bedplate.rendering import checklist, live_instructions, manual_checks, manual_commands, shell_helpers, stage_text
from bedplate.units import MIB
from bedplate_steps.disk import inspect
from rendering import action, graph

SPECS = Path(__file__).resolve().parent.parent / "specs"
MACHINES = ("barnacle-05", "kelp-02", "limpet-01", "tern-04")


@cache
def installed(name: str) -> InstallGraph:
    """The graph of an example machine."""
    path = str(SPECS / f"{name}.toml")
    checked = pipeline.check_spec(commands.load_document(path), load(), commands.load_document)
    return pipeline.plan(checked, f"{name}.toml")


@cache
def tokens(name: str) -> list[Token]:
    return MarkdownIt("commonmark").parse(checklist.render(installed(name)))


@pytest.mark.parametrize("name", MACHINES)
def test_everything_that_can_be_looked_at_stands_before_the_first_write(name: str) -> None:
    live = [node.action for node in installed(name).stage(Stage.LIVE)]
    first = next(place for place, one in enumerate(live) if one.changes and not one.transient)
    before = {one.id for one in live[:first]}
    wanted = {
        "disk.identify",
        "disk.copies",
        "clock.live",
        "locale.live-keymap",
        "base.look",
        "bootloader.check-firmware",
    }
    assert wanted <= before
    assert "network.live" in before or "network.live" not in {one.id for one in live}


def test_the_new_swap_is_in_use_before_the_base_needs_memory() -> None:
    live = [node.action.id for node in installed("kelp-02").stage(Stage.LIVE)]
    assert next(place for place, name in enumerate(live) if name.startswith("disk.swap")) < live.index("base.unpack")


@pytest.mark.parametrize("name", MACHINES)
def test_no_path_is_escaped_outside_a_code_span(name: str) -> None:
    spoken = [child for token in tokens(name) if token.type == "inline" for child in token.children or ()]
    assert [child.content for child in spoken if child.type == "text" and "\\" in child.content] == []


@pytest.mark.parametrize("shell", [["dash", "-n"], ["bash", "-n"], ["busybox", "sh", "-n"]], ids=" ".join)
@pytest.mark.parametrize("name", MACHINES)
def test_every_block_and_every_guard_can_be_read_by_a_shell(name: str, shell: list[str]) -> None:
    blocks = [token.content for token in tokens(name) if token.type == "fence" and token.info == "sh"]
    parts = stage_text.parts(installed(name))
    blocks += [line for part in parts for told in part.actions for one in told.guards.new for line in one.looking]
    for block in blocks:
        ran = subprocess.run(shell, input=block, capture_output=True, text=True, check=False)
        assert (ran.returncode, ran.stderr) == (0, ""), block
        assert re.search(r"\bPACKAGES\b|\bORDER\b|\bVERSION\b", block) is None, block


@pytest.mark.parametrize("shell", [["dash"], ["bash"], ["busybox", "sh"]], ids=" ".join)
@pytest.mark.parametrize("ends", [("END",), ("END", "END."), (" END", "END", "END..", "END.")], ids=str)
def test_no_line_of_a_file_ends_it_and_becomes_a_command(
    ends: tuple[str, ...], shell: list[str], tmp_path: Path
) -> None:
    """POSIX.1-2017, XCU 2.7.4: a here-document ends at the first line that is its delimiter and nothing else."""
    text = "".join(f"{end}\ntouch ran\n" for end in ends)
    file = tmp_path / "file"
    written = manual_commands.commands(WriteFile(path=str(file), content=(text,)), {})
    typed = "\n".join([*written, *manual_commands.commands(Run(argv=("cat",), stdin=(text,)), {})])
    ran = subprocess.run(shell, input=typed, capture_output=True, text=True, check=True, cwd=tmp_path)
    assert (ran.stdout, file.read_text()) == (text, text)
    assert [one.name for one in tmp_path.iterdir()] == ["file"]


@pytest.mark.parametrize("name", MACHINES)
def test_no_block_leaves_the_shell_inside_the_target(name: str) -> None:
    """A shell that stands in a mount keeps umount(8) from taking it down."""
    for token in tokens(name):
        if token.type == "fence" and token.info == "sh":
            assert re.search(r"^cd ", token.content, re.MULTILINE) is None, token.content


@pytest.mark.parametrize("name", MACHINES)
def test_no_password_is_typed_as_its_placeholder(name: str) -> None:
    """Where one stands in a file, the next block looks that it is gone; nowhere else does one stand at all."""
    blocks = [token.content for token in tokens(name) if token.type == "fence"]
    for block, following in zip(blocks, [*blocks[1:], ""], strict=True):
        for placeholder in re.findall(r"<Pass(?:word|phrase) of [^>]*>", block):
            assert "STILL TO BE REPLACED" in block + following and f"'{placeholder}'" in block + following


@pytest.mark.parametrize("name", MACHINES)
def test_every_guard_that_is_still_so_was_asked_for(name: str) -> None:
    told = {one.number: one for part in stage_text.parts(installed(name)) for one in part.actions}
    for one in told.values():
        for number, places in one.guards.known:
            labels = {int(place) for place in re.findall(r"\d+", places)}
            assert number < one.number and max(labels) <= len(told[number].guards.new)


@pytest.mark.parametrize("name", MACHINES)
def test_each_stage_names_the_machine_and_begins_with_a_tick_for_it(name: str) -> None:
    text = checklist.render(installed(name))
    stages = re.findall(r"^## Stage \d: .*$(?:\n+(.*)$)?", text, re.MULTILINE)
    heads = re.findall(r"^## Stage \d: (.*)$", text, re.MULTILINE)
    assert all(name in head for head in heads) and len(heads) == 5
    assert all(first.startswith(f"- [ ] I am at {name}") or first == "Nothing to do here." for first in stages)


def test_the_medium_is_asked_for_every_command_and_for_no_other_word() -> None:
    passages = live_instructions.tools_test(installed("kelp-02"), stage_text.parts(installed("kelp-02")))
    [line] = passages[1].lines  # type: ignore[union-attr]
    listed = line.removeprefix("for one in ").split("; do")[0].split()
    assert {"sfdisk", "udevadm", "swapoff", "findmnt", "awk"} <= set(listed)
    assert not {"mmdebstrap", "debootstrap", "ckbcomp", "start=", "END", "echo"} & set(listed)
    line = line.replace("sfdisk", "no-such-tool")
    ran = subprocess.run(["dash", "-c", line], capture_output=True, text=True, check=True)
    assert "missing: no-such-tool" in ran.stdout and "missing: cat" not in ran.stdout


def test_a_sentence_among_the_commands_divides_them() -> None:
    typed = ("# Either, with `one`:", "one a", "# or:", "two a", "two b")
    work = action("demo.two-ways", Call(verb="x", by_hand=typed))
    [told] = stage_text.parts(graph(work))[2].actions
    shown = [piece.lines if isinstance(piece, stage_text.Commands) else piece for piece in told.work]
    assert shown == [
        (stage_text.Said("Either, with "), stage_text.Code("one"), stage_text.Said(":")),
        ("one a",),
        (stage_text.Said("or:"),),
        ("two a", "two b"),
    ]


@pytest.mark.parametrize(
    ("words", "pieces"),
    [
        (r"Nor is \EFI\BOOT.", ["Nor is ", r"\EFI\BOOT", "."]),
        ("`a b` and `c`", ["a b", " and ", "c"]),
        ("one ` alone", ["one ` alone"]),
        ("", [""]),
    ],
)
def test_commands_and_paths_in_a_sentence_stand_apart(words: str, pieces: list[str]) -> None:
    assert [piece.text for piece in stage_text.prose(words)] == pieces


# --- guards of the disk, on an image ---------------------------------------------------------------------------------

ESP = LaidPartition(
    name="esp",
    new=False,
    number=1,
    start=2048,
    size=8192,
    type="C12A7328-F81F-11D2-BA4B-00A0C93EC93B",
    uuid="6D0325D8-CF1C-525B-838B-9949ABA9601A",
)
ROOT = LaidPartition(
    name="root",
    new=True,
    number=2,
    start=16384,
    size=8192,
    type="4F68BCE3-E8CD-4DB1-96E7-FBCAF984B709",
    uuid="3F8871A5-2DE0-593A-BDED-2F4ABE609610",
)
TABLE = "7C0B6A1E-52D4-4B0F-9A3D-0217C4E8F651"


def row_of(part: LaidPartition, **changed: int) -> str:
    at = {"start": part.start, "size": part.size, **changed}
    return f"start={at['start']}, size={at['size']}, type={part.type}, uuid={part.uuid}\n"


def said(lines: inspect.Lines, folder: Path, rows: str) -> list[bool]:
    """Which of the lines print something about an image with those rows."""
    image = folder / "disk.img"
    image.write_bytes(b"")
    with image.open("r+b") as file:
        file.truncate(64 * MIB)
    subprocess.run(["sfdisk", "-q", str(image)], input=f"label: gpt\nlabel-id: {TABLE}\n{rows}", text=True, check=True)
    env = {"DISK": str(image), "PATH": "/usr/sbin:/usr/bin:/sbin:/bin", "LC_ALL": "C"}
    said = "\n".join(shell_helpers.definitions(shell_helpers.HELPERS, None))
    ran = [
        subprocess.run(["sh", "-c", f"{said}\n{line}"], env=env, capture_output=True, text=True, check=False)
        for line in lines
    ]
    assert [one.stderr for one in ran] == [""] * len(ran)
    return [bool(one.stdout.strip()) for one in ran]


@pytest.mark.parametrize(
    ("lines", "good", "bad"),
    [
        (inspect.the_table(TABLE), row_of(ESP), None),
        (inspect.whole(), row_of(ESP), None),
        (inspect.row(ESP), row_of(ESP) + row_of(ROOT), row_of(ESP, size=8191)),
        (inspect.row(ESP), row_of(ESP), row_of(ROOT)),
        (inspect.ends_by(ESP), row_of(ESP, size=4096), row_of(ESP, size=8200)),
        (inspect.ends_by(ESP), row_of(ESP), row_of(ESP, start=2049)),
        (inspect.room_is_free(ROOT), row_of(ESP), row_of(ESP, start=16384 + 8191)),
        (inspect.room_is_free(ROOT), row_of(ESP, start=16384 + 8192), row_of(ESP, start=8193)),
        (inspect.not_there(ROOT), row_of(ESP), row_of(ROOT)),
    ],
)
def test_a_guard_prints_a_line_only_if_it_holds(
    lines: inspect.Lines, good: str, bad: str | None, tmp_path: Path
) -> None:
    assert all(said(lines, tmp_path, good))
    if bad is not None:
        assert not any(said(lines, tmp_path, bad))


@pytest.mark.parametrize("name", MACHINES)
def test_a_disk_that_nobody_has_named_is_never_a_yes(name: str) -> None:
    """A second console knows nothing of the first one's $DISK. Common practice, no source."""
    parts = stage_text.parts(installed(name))
    asked = [line for part in parts for told in part.actions for one in told.guards.new for line in one.looking]
    asked = [line for line in asked if "$DISK" in line and not line.startswith("# ")]
    assert len(asked) > 5
    for line in asked:
        text = "\n".join([*shell_helpers.definitions(shell_helpers.HELPERS, None), line])
        ran = subprocess.run(
            ["sh", "-c", text], env={"PATH": "/usr/sbin:/usr/bin:/sbin:/bin"}, capture_output=True, check=False
        )
        assert ran.stdout == b"", line


def test_a_person_sees_the_proof_of_a_whole_table_fail(tmp_path: Path) -> None:
    assert said(inspect.whole(), tmp_path, row_of(ESP)) == [True, True]
    image = tmp_path / "disk.img"
    with image.open("r+b") as file:
        file.seek(446)
        file.write(b"\x80")
    ran = subprocess.run(
        ["sh", "-c", inspect.whole()[1]],
        env={"DISK": str(image), "PATH": "/usr/bin:/bin"},
        capture_output=True,
        check=False,
    )
    assert ran.stdout == b""


def test_an_argument_vector_of_a_guard_says_yes() -> None:
    [line] = manual_checks.asking(Succeeds(argv=("true",)))
    [other] = manual_checks.asking(Succeeds(argv=("false",)))
    assert subprocess.run(["sh", "-c", line], capture_output=True, check=False).stdout == b"yes\n"
    assert subprocess.run(["sh", "-c", other], capture_output=True, check=False).stdout == b""
