"""The checklist: what a person reads. Markdown is judged by markdown-it-py, an implementation of CommonMark 0.31."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from markdown_it import MarkdownIt

from bedplate.actions import (
    ByHand,
    Call,
    Disk,
    InTarget,
    Link,
    Run,
    Secret,
    SecretRef,
    Stage,
    WayBack,
    Where,
    WriteFile,
)
from bedplate.conditions import file_has_line, file_is, succeeds
from bedplate.facts import LaidPartition, Layout
from bedplate.rendering import checklist, manual_checks, manual_commands, markdown, script
from rendering import HOSTILE, OWNER, action, graph, writing

KEPT = LaidPartition(
    name="factory",
    new=False,
    number=3,
    start=2048,
    size=8192,
    type="T",
    uuid="K",
    filesystem="ntfs",
    role="system",
    shrunk_from=16384,
)
ROOT = LaidPartition(
    name="root",
    new=True,
    number=4,
    start=16384,
    size=8192,
    type="T",
    uuid="N",
    filesystem="ext4",
    mount="/",
    gpt_name="kelp-root",
)
LAYOUT = Layout(
    disk_words="Tidewater 500, serial TW-1",
    serial="TW-1",
    size_bytes=10**9,
    sector_size=512,
    table_id="I",
    whole_disk=False,
    first_lba=34,
    last_lba=99999,
    partitions=(KEPT, ROOT),
    before=(KEPT,),
    other_systems=("factory",),
)


def whole() -> str:
    """The checklist of a graph with all five stages."""
    secret = Secret(name="password-ana", prompt="Password of ana", min_length=8, max_length=64)
    return checklist.render(
        graph(
            action(
                "demo.backup",
                ByHand(text="Copy everything.", commands=("chkdsk C: /scan",)),
                stage=Stage.OTHER_SYSTEM,
                cautions=("Try to read it back.",),
                expected="No errors are reported.",
            ),
            action("demo.menu", ByHand(text="Press the key for the boot menu."), stage=Stage.FIRMWARE),
            action(
                "demo.parts",
                Run(argv=("sfdisk", "--append", Disk()), stdin=("size=8192\n",)),
                needs=("tool:sfdisk",),
                way_back=WayBack(note="Delete only ours.", possible=True),
                guards=(succeeds("The disk is not in use", "true", otherwise="Unmount it."),),
                trouble="It says that the disk is in use.",
            ),
            writing("demo.host", "/etc/hostname", "kelp-02\n", stage=Stage.TARGET),
            action(
                "demo.user",
                Run(argv=("chpasswd",), where=Where.TARGET, stdin=("ana:", SecretRef("password-ana"), "\n")),
                secrets=(secret,),
                stage=Stage.TARGET,
            ),
            action("demo.first", ByHand(text="Log in as ana."), stage=Stage.FIRST_BOOT),
            facts={Layout: LAYOUT},
        )
    )


def test_the_parts_come_in_the_order_of_the_work() -> None:
    text = whole()
    headings = re.findall(r"^##? (.*)$", text, re.MULTILINE)
    assert headings == [
        "kelp-02: installation checklist",
        "What this machine will be",
        "What is erased and what is kept",
        "Cautions",
        "What to have at hand",
        "Words",
        "Stage 1: In the other system, kelp-02 (disk TW-1)",
        "Stage 2: In the firmware, kelp-02 (disk TW-1)",
        "Stage 3: On the live medium, kelp-02 (disk TW-1)",
        "Stage 4: In the new system, from the live medium, kelp-02 (disk TW-1)",
        "Stage 5: At the first start, kelp-02 (disk TW-1)",
        "Hand-over sheet",
        "Rescue sheet",
    ]
    boxes = re.findall(r"^- \[ \] \*\*(\d+)\. (.*)\*\*$", text, re.MULTILINE)
    assert [number for number, _ in boxes] == ["1", "2", "3", "4", "5", "6"]


def test_the_cautions_of_every_installation_stand_before_the_work_and_others_at_their_place() -> None:
    before, work = whole().split("## Stage 1")
    for words in ("backup", "recovery keys", "mains power", "vendor"):
        assert words in before
    assert "Try to read it back" not in before and work.count("**Caution:** Try to read it back.") == 1
    assert "no. 3 factory: 4 MiB, ntfs, shrunk from 8 MiB" in before and "kept, shrunk to 4 MiB" in before
    assert "No partition is erased." in before
    assert "Password of ana (asked for before the first write; 8 to 64 printable ASCII characters)" in before


def test_an_action_says_why_how_what_to_expect_and_how_to_go_back() -> None:
    text = whole()
    for words in (
        "Why: Because of demo.parts.",
        "- (1) The disk is not in use: `true > /dev/null && echo yes`. If not: Unmount it.",
        "sfdisk --append \"$DISK\" <<'END'\nsize=8192\nEND",
        "If it goes wrong: It says that the disk is in use.",
        "Way back: Delete only ours.",
        "Expected: No errors are reported.",
        "cat > /mnt/target/etc/hostname <<'END'\nkelp-02\nEND",
        "- /etc/hostname is as planned",
        "chroot /mnt/target chpasswd <<'END'\nana:<Password of ana>\nEND",
        "**Choose one way for 3 to 5, and stay with it.**",
        "sh /mnt/second/kelp-02.sh",
        "and go on at 6.",
        "Put the secret itself in the place of `<Password of ana>`, then press Enter:",
        "the serial number `TW-1`",
        "DISK=/dev/",
    ):
        assert words in text, words


def test_a_way_back_that_does_not_exist_is_said_in_bold() -> None:
    text = checklist.render(graph(writing("demo.one", "/a", "1", way_back=WayBack(note="Gone.", possible=False))))
    assert "Way back: **cannot be undone.** Gone." in text


def test_a_whole_disk_is_lost_in_bold() -> None:
    layout = Layout(
        disk_words="Tidewater 500",
        serial="S",
        size_bytes=10**9,
        sector_size=512,
        table_id="I",
        whole_disk=True,
        first_lba=34,
        last_lba=9999,
        partitions=(ROOT,),
        before=(KEPT,),
    )
    text = checklist.render(graph(writing("demo.one", "/a", "1"), facts={Layout: layout}))
    assert "**The whole disk is taken: everything on Tidewater 500 is lost.**" in text
    assert "**Erased for good:**\n\n- no. 3 factory" in text


@pytest.mark.parametrize("text", [text for text in HOSTILE if text.strip()])
def test_free_text_reads_as_itself(text: str) -> None:
    words = markdown.visible(text).strip()
    for line in (markdown.text(text), f"- {markdown.text(text)}", f"Why: {markdown.text(text)}"):
        tokens = MarkdownIt("commonmark", {"html": True}).parse(line)
        inline = [token for token in tokens if token.type == "inline"]
        shown = "".join(child.content for child in inline[0].children or ())
        assert (len(inline), shown.removeprefix("Why: ")) == (1, words)
        plain = MarkdownIt("commonmark").parse(re.sub(re.escape(markdown.text(text)) + "$", "words", line))
        assert [token.type for token in tokens] == [token.type for token in plain]


@pytest.mark.parametrize(
    "text",
    [
        "1. one",
        "12) two",
        "# three",
        "- four",
        "+ five",
        "> six",
        "---",
        "===",
        "    code",
        "***",
        "~~~",
        "&amp;",
        "<b>",
        "[a]: /b",
        "a  \nb",
        "__init__",
        "_x_",
    ],
)
def test_text_that_looks_like_markup_reads_as_itself(text: str) -> None:
    tokens = MarkdownIt("commonmark", {"html": True}).parse(f"- {markdown.text(text)}")
    inline = [token for token in tokens if token.type == "inline"]
    assert [child.type for child in inline[0].children or ()].count("text") == len(inline[0].children or ())
    assert "".join(child.content for child in inline[0].children or ()) == markdown.visible(text).strip()


@pytest.mark.parametrize("text", HOSTILE)
def test_a_fence_holds_whatever_is_inside(text: str) -> None:
    tokens = MarkdownIt("commonmark").parse("\n".join(markdown.fenced([text])))
    fences = [token for token in tokens if token.type == "fence"]
    assert len(fences) == 1
    assert fences[0].content.rstrip("\n") == "\n".join(map(markdown.visible, text.split("\n"))).replace(
        "\\u0009", "\t"
    ).rstrip("\n")


@pytest.mark.parametrize("text", [text for text in HOSTILE if text])
def test_commands_by_hand_do_what_the_operation_does(text: str, tmp_path: Path) -> None:
    # the shown commands are run by sh(1), with the target's root moved
    operations = (
        WriteFile(path=InTarget("/etc/a file"), content=(text,), mode=0o640, owner=OWNER),
        WriteFile(path=InTarget("/etc/ended"), content=(text, "\n"), mode=0o600, owner=OWNER),
        Run(argv=("cat",), stdin=(text, Disk(), text), stdout_to=InTarget("/etc/fed")),
        Link(path=InTarget("/etc/link"), to="a file"),
    )
    shown = "\n".join(line for item in operations for line in manual_commands.commands(item, {}))
    moved = shown.replace("/mnt/target", str(tmp_path))
    subprocess.run(["sh", "-c", moved], check=True, env={"DISK": "/dev/x", "PATH": "/usr/bin:/bin"}, cwd=tmp_path)
    etc = tmp_path / "etc"
    assert (etc / "a file").read_bytes() == (etc / "link").read_bytes() == text.encode()
    assert (etc / "ended").read_bytes() == text.encode() + b"\n"
    assert (etc / "fed").read_bytes() == f"{text}/dev/x{text}".encode()
    assert (etc / "a file").stat().st_mode & 0o7777 == 0o640
    assert sorted(item.name for item in tmp_path.iterdir()) == ["etc"]


def test_looking_at_the_general_proofs() -> None:
    assert manual_checks.asking(file_has_line("/etc/a", "x y").test) == ["grep -Fx -e 'x y' /mnt/target/etc/a"]
    assert manual_checks.asking(file_is("/etc/a", ("x",)).test)[0].startswith(
        "sha256sum < /mnt/target/etc/a | grep -Fx -e "
    )
    assert manual_checks.asking(Call(verb="unknown-to-people")) == []


def test_same_graph_same_bytes() -> None:
    assert whole() == whole()


def test_gathered_names_stand_in_the_list_and_in_the_script() -> None:
    install = action("demo.install", gathers="package", gives=("base",))
    work = writing("demo.one", "/a", "1", needs=("package:tidetools", "package:attr"))
    for text in (checklist.render(graph(install, work)), script.render(graph(install, work))):
        assert "Every package" in text and "attr tidetools" in text
