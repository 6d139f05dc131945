"""Text is never code: hostile strings in every free field of an action, through every rendering, under three shells."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from markdown_it import MarkdownIt

from bedplate.actions import (
    Action,
    ByHand,
    Call,
    Check,
    InTarget,
    Joined,
    Link,
    Outputs,
    Run,
    Secret,
    SecretRef,
    Stage,
    Succeeds,
    WayBack,
)
from bedplate.conditions import file_has_line, link_is
from bedplate.facts import LaidPartition, Layout
from bedplate.faults import Rejected
from bedplate.install_graph import InstallGraph
from bedplate.rendering import audit, checklist, graph_dot, quoting, script
from bedplate.rendering import graph_json as json_rendering
from rendering import HOSTILE, SHELLS, Sandbox, action, graph, writing

LINES = tuple(text for text in HOSTILE if "\n" not in text)


def actions(text: str, place: int = 0) -> list[Action]:
    """Actions with `text` in every field that a user's words can reach."""
    commands = (text, f"echo {text}")
    title = text.replace("\n", " ") if text.strip() else "-"  # one line of text, the type sees to that
    by_hand = ByHand(text=text, commands=commands)
    work = action(
        f"demo.words-{place}",
        Run(argv=("printf", "%s", text)),
        Run(argv=("cat",), stdin=(text,)),
        Call(verb="tool-present", args=("sh",), by_hand=commands),
        title=title,
        reason=text,
        cautions=(text,),
        expected=text,
        trouble=text,
        guards=(
            Check(says=text, otherwise=text, test=Succeeds(argv=("true", text))),
            Check(says=text, otherwise=text, test=Outputs(argv=("printf", "%s", text), text=text), early=False),
        ),
        way_back=WayBack(note=text if text.strip() else title, operations=(Run(argv=("printf", "%s", text)), by_hand)),
    )
    before = action(f"demo.before-{place}", by_hand, stage=Stage.OTHER_SYSTEM, title=title)
    after = action(f"demo.after-{place}", by_hand, stage=Stage.FIRST_BOOT, title=title)
    return [work, before, after]


def layout(text: str) -> Layout:
    """A layout with `text` in every free field."""
    part = LaidPartition(
        name=text,
        new=True,
        number=1,
        start=2048,
        size=4096,
        type="T",
        uuid="U",
        gpt_name=text,
        filesystem=text,
        mount=text,
    )
    return Layout(
        disk_words=text,
        serial=text,
        model=text,
        size_bytes=10**9,
        sector_size=512,
        table_id="I",
        whole_disk=True,
        first_lba=34,
        last_lba=9999,
        partitions=(part,),
        before=(part,),
        other_systems=(text,),
    )


def every_field(text: str) -> InstallGraph:
    """A small graph with `text` everywhere."""
    return graph(*actions(text), facts={Layout: layout(text)})


@pytest.mark.parametrize("first", range(0, len(HOSTILE), 8))
def test_scripts_are_clean_and_parse(first: int, tmp_path: Path) -> None:
    texts = HOSTILE[first : first + 8]
    every = [one for place, text in enumerate(texts) for one in actions(text, place)]
    for render in (script.render, audit.render):
        path = tmp_path / "script.sh"
        path.write_text(render(graph(*every, facts={Layout: layout(" ".join(texts))})), encoding="utf-8")
        for command in (["shellcheck", "-s", "sh"], ["dash", "-n"], ["bash", "-n"], ["busybox", "sh", "-n"]):
            done = subprocess.run([*command, str(path)], capture_output=True, text=True, check=False)
            assert (done.returncode, done.stdout, done.stderr) == (0, "", ""), command


@pytest.mark.parametrize("shell_name", SHELLS)
def test_nothing_hostile_runs_and_files_hold_exact_bytes(shell_name: str, tmp_path: Path) -> None:
    writes = [writing(f"demo.file-{place}", f"/etc/file-{place}", text) for place, text in enumerate(HOSTILE)]
    words = action("demo.argv", Run(argv=("printf", "<%s>", *HOSTILE), stdout_to=InTarget("/etc/words")))
    fed = action("demo.stdin", Run(argv=("cat",), stdin=HOSTILE, stdout_to=InTarget("/etc/fed")))
    one = action("demo.joined", Run(argv=("printf", "%s", Joined(HOSTILE)), stdout_to=InTarget("/etc/joined")))
    sandbox = Sandbox(tmp_path)
    done = sandbox.run(script.render(graph(*writes, words, fed, one)), shell_name)
    assert (done.returncode, done.stderr) == (0, "")
    etc = sandbox.target / "etc"
    for place, text in enumerate(HOSTILE):
        assert (etc / f"file-{place}").read_bytes() == text.encode(), text
    assert (etc / "words").read_bytes() == "".join(f"<{text}>" for text in HOSTILE).encode()
    assert (etc / "fed").read_bytes() == (etc / "joined").read_bytes() == "".join(HOSTILE).encode()
    assert not list(tmp_path.rglob("BROKEN"))


@pytest.mark.parametrize("options", [["--show"], ["--list"], []], ids=["show", "list", "run"])
@pytest.mark.parametrize("shell_name", SHELLS)
def test_words_for_people_never_run(shell_name: str, options: list[str], tmp_path: Path) -> None:
    # shown with --show, and said in the report of a real run that fails at its last action
    every = [one for place, text in enumerate(HOSTILE) for one in actions(text, place)]
    broken = action("demo.broken", Run(argv=("false", *HOSTILE)))
    facts: dict[type, object] = {Layout: layout(" ".join(HOSTILE))} if options else {}  # a run looks for the disk
    sandbox = Sandbox(tmp_path)
    rendered = script.render(graph(*every, broken, facts=facts))
    done = sandbox.run(rendered, shell_name, answers="yes\nkelp-02\n", options=options)
    assert (done.returncode, done.stderr) == (0 if options else 1, ""), done.stdout
    assert options or "STOPPED" in done.stdout
    assert "\x1b" not in done.stdout
    assert not list(tmp_path.rglob("BROKEN"))


@pytest.mark.parametrize("text", [text for text in LINES if text])
def test_links_and_lines_are_literal(text: str, tmp_path: Path) -> None:
    link = action("demo.link", Link(path=InTarget("/etc/link"), to=text), proofs=(link_is("/etc/link", text),))
    lines = writing("demo.lines", "/etc/lines", f"first\n{text}\nlast\n", proofs=(file_has_line("/etc/lines", text),))
    sandbox = Sandbox(tmp_path)
    done = sandbox.run(script.render(graph(link, lines)))
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    assert (sandbox.target / "etc" / "link").readlink() == Path(text) or str(text).endswith(("/", "."))


@pytest.mark.parametrize("shell_name", SHELLS)
def test_a_secret_is_written_exactly_and_leaves_no_trace(shell_name: str, tmp_path: Path) -> None:
    value = " '\"$(touch BROKEN)`\\%s "
    secret = Secret(name="password-ana", prompt="Password of ana")
    text = ("ana:", SecretRef("password-ana"), "\n")
    work = action("demo.secret", Run(argv=("cat",), stdin=text, stdout_to=InTarget("/etc/s")), secrets=(secret,))
    sandbox = Sandbox(tmp_path)
    done = sandbox.run(script.render(graph(work)), shell_name, answers=f"{value}\n{value}\nkelp-02\n")
    assert (done.returncode, done.stderr) == (0, "")
    assert (sandbox.target / "etc" / "s").read_text() == f"ana:{value}\n"
    assert "touch BROKEN" not in sandbox.log.read_text() + done.stdout
    assert not list(sandbox.scratch.iterdir())
    assert not list(tmp_path.rglob("BROKEN"))


@pytest.mark.parametrize("text", HOSTILE)
def test_markdown_shows_the_text_and_nothing_else(text: str) -> None:
    # markdown-it-py implements CommonMark; linkify is off there and on in some viewers, so no scheme is tested
    rendered = checklist.render(every_field(text))
    plain = checklist.render(every_field("plain words"))
    structure = [(token.type, token.tag) for token in MarkdownIt("commonmark", {"html": True}).parse(rendered)]
    wanted = [(token.type, token.tag) for token in MarkdownIt("commonmark", {"html": True}).parse(plain)]
    assert [one for one in structure if one[0] != "inline"] == wanted or not text.strip() or _fewer(structure, wanted)
    inline = {
        child.type
        for token in MarkdownIt("commonmark", {"html": True}).parse(rendered)
        for child in token.children or ()
    }
    assert inline <= {"text", "strong_open", "strong_close", "code_inline", "softbreak", "text_special"}
    assert not any(token.type.startswith("html") for token in MarkdownIt("commonmark").parse(rendered))
    assert "\x1b" not in rendered


def _fewer(structure: list[tuple[str, str]], wanted: list[tuple[str, str]]) -> bool:
    """Headings and code blocks are the same; only inline text may differ."""
    kinds = ("heading_open", "fence", "bullet_list_open", "list_item_open", "paragraph_open")
    return all(
        [one for one in structure if one[0] == kind] == [one for one in wanted if one[0] == kind] for kind in kinds
    )


@pytest.mark.parametrize("text", HOSTILE)
def test_dot_and_json_hold_hostile_text(text: str) -> None:
    install = every_field(text)
    done = subprocess.run(
        ["dot", "-Tplain"], input=graph_dot.render(install).encode(), capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert json_rendering.document(install)["actions"][1]["reason"] == text


def test_a_nul_is_refused_with_a_fault() -> None:
    with pytest.raises(Rejected) as caught:
        script.render(every_field("a\0b"))
    assert caught.value.faults[0].code == "nul-in-text"


@pytest.mark.parametrize("shell_name", SHELLS)
@pytest.mark.parametrize("quoted", [quoting.quote, quoting.typed])
def test_a_quoted_word_is_that_word(quoted: object, shell_name: str) -> None:
    # dash(1) QUOTING and POSIX 2.2: read back by the shells themselves; typed() loses only a last line end
    texts = [text for text in HOSTILE if not (quoted is quoting.typed and text.endswith("\n"))]
    command = "printf '<%s>' " + " ".join(quoted(text) for text in texts)  # type: ignore[operator]
    done = subprocess.run([*SHELLS[shell_name], "-c", command], capture_output=True, check=True)
    assert done.stdout == "".join(f"<{text}>" for text in texts).encode()
