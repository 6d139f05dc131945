"""What a spec may make the program read, and what is shown of it.

Regular files and pipes: POSIX.1-2017, XBD 3.321 and 3.164; the kernel's log: proc(5). Which signs show nothing, or
change how others are shown: Unicode 15, chapters 23.1 to 23.3 (controls, layout, joiners), and UAX 9 (direction).
"""

from __future__ import annotations

import os
import shutil
import unicodedata
from pathlib import Path

import pytest

from bedplate.actions import Run
from bedplate.cli.main import main
from bedplate.faults import Fault, Place, describe
from bedplate.rendering import audit, checklist, graph_dot, script
from bedplate.rendering import graph_json as as_json
from bedplate.rendering.page import page
from rendering import action, graph

ROOT = Path(__file__).resolve().parent.parent

HIDDEN = (
    "\x07\x1b\x7f\x80\x9b\x9f\u00ad\u061c\u200b\u200d\u200e\u200f\u2028\u202a\u202e\u2060\u2066\u2069\ufeff\U000e0041"
)


def machine(folder: Path, **changed: str) -> Path:
    """A copy of limpet-01 with other lines."""
    for name in ("limpet-01.toml", "limpet-01.survey.toml", "common.toml"):
        shutil.copy(ROOT / "specs" / name, folder)
    spec = folder / "limpet-01.toml"
    text = spec.read_text()
    for old, new in changed.items():
        line = next(line for line in text.splitlines() if line.startswith(f"{old} ="))
        text = text.replace(line, new)
    spec.write_text(text)
    return spec


@pytest.mark.parametrize("key", ["extends", "survey"])
def test_a_spec_names_files_of_its_own_folder_only(
    key: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "far").mkdir()
    (tmp_path / "near").mkdir()
    (tmp_path / "far/secret.toml").write_text("swordfish\n")
    (tmp_path / "near/link.toml").symlink_to("../far/secret.toml")
    for name in ("../far/secret.toml", str(tmp_path / "far/secret.toml"), "link.toml"):
        spec = machine(tmp_path / "near", **{key: f'{key} = "{name}"'})
        assert main(["check", str(spec)]) == 1
        err = capsys.readouterr().err
        assert "[outside-folder]" in err and "swordfish" not in err, name
        assert main(["check", "--also-from", str(tmp_path / "far"), str(spec)]) == 1
        err = capsys.readouterr().err
        assert "[outside-folder]" not in err and "[bad-toml]" in err, name


def test_what_is_said_to_be_allowed_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for folder in ("a", "common"):
        (tmp_path / folder).mkdir()
    spec = machine(tmp_path / "a", extends='extends = "../common/common.toml"')
    shutil.move(tmp_path / "a/common.toml", tmp_path / "common")
    also = ["--also-from", str(tmp_path / "common")]
    for words in (["check"], ["compile", "--as", "json"], ["diff", str(spec)]):
        assert main([*words, str(spec)]) in (1, 2)
        assert "[outside-folder]" in capsys.readouterr().err
        assert main([*words, str(spec), *also]) == 0
        capsys.readouterr()


def test_the_name_of_a_neighbour_that_begins_alike_is_outside(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "ab").mkdir()
    spec = machine(tmp_path / "a", extends='extends = "../ab/common.toml"')
    shutil.move(tmp_path / "a/common.toml", tmp_path / "ab")
    assert main(["check", str(spec)]) == 1
    assert "[outside-folder]" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["pipe", "/proc/kmsg", "/dev/zero", "/dev/tty"])
@pytest.mark.parametrize("words", [["check"], ["compile"], ["draft"], ["survey", "--from"]])
def test_nothing_waits_for_what_has_no_end(
    words: list[str], name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    os.mkfifo("pipe")
    assert main([*words, name]) in (1, 2)
    out, err = capsys.readouterr()
    assert out == "" and "Traceback" not in err and "fault of Bedplate" not in err
    spec = machine(tmp_path, extends=f'extends = "{name}"')
    assert main(["check", "--also-from", "/", str(spec)]) == 1
    assert "[not-a-file]" in capsys.readouterr().err or not Path(name).exists()


def test_nothing_is_shown_of_a_file_that_is_no_toml_by_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "shadow").write_text("root:swordfish:19000:0\n")
    assert main(["check", str(tmp_path / "shadow")]) == 1
    err = capsys.readouterr().err
    assert "[bad-toml]" in err and "swordfish" not in err
    spec = machine(tmp_path, extends='extends = "shadow"')
    assert main(["check", str(spec)]) == 1
    assert "swordfish" not in capsys.readouterr().err


def test_a_draft_says_where_its_survey_may_lie(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "specs").mkdir()
    shutil.copy(ROOT / "specs/kelp-02.survey.toml", tmp_path)
    assert main(["draft", str(tmp_path / "kelp-02.survey.toml"), "--out", str(tmp_path / "specs/k.toml")]) == 0
    assert f"--also-from {tmp_path}" in capsys.readouterr().err


# --- what is shown ---------------------------------------------------------------------------------------------------


def shows(text: str) -> list[str]:
    """Signs in a text that do not show as what they are, by their category in the Unicode Character Database."""
    return [
        f"U+{ord(sign):04X}"
        for sign in text
        if unicodedata.category(sign) in ("Cc", "Cf", "Zl", "Zp") and sign not in "\n\t"
    ]


@pytest.mark.parametrize("render", [checklist.render, page.render, graph_dot.render, as_json.render])
def test_no_sheet_holds_a_sign_that_does_not_show(render: object) -> None:
    work = action(
        "demo.odd",
        Run(argv=("echo", HIDDEN)),
        title=f"Do {HIDDEN}",
        reason=f"Because {HIDDEN}.",
        cautions=(HIDDEN,),
        expected=HIDDEN,
        trouble=HIDDEN,
    )
    text = render(graph(work))  # type: ignore[operator]
    assert shows(text) == []


def test_no_comment_and_no_message_of_a_script_holds_one() -> None:
    work = action("demo.odd", title=f"Do {HIDDEN}", reason=f"Because {HIDDEN}.", cautions=(HIDDEN,))
    for render in (script.render, audit.render):
        assert shows(render(graph(work))) == []


def test_what_is_typed_by_hand_is_the_same_text(tmp_path: Path) -> None:
    """printf(1), `%b`: octal escapes are bytes; the shell gives back what was meant."""
    import subprocess

    from bedplate.rendering.quoting import typed

    for shell in (["dash"], ["bash"], ["busybox", "sh"]):
        ran = subprocess.run([*shell, "-c", f"printf '%s' {typed(HIDDEN + 'x')}"], capture_output=True, check=True)
        assert ran.stdout.decode() == HIDDEN + "x"
    assert shows(typed(HIDDEN)) == []


def test_a_fault_shows_what_does_not_show() -> None:
    fault = Fault(
        code="odd",
        message=f"m{HIDDEN}",
        place=Place(file=f"f{HIDDEN}"),
        found=HIDDEN,
        allowed=HIDDEN,
        nearest=HIDDEN,
        notes=(HIDDEN,),
        path=(HIDDEN,),
    )
    assert shows(describe(fault)) == []


@pytest.mark.parametrize("words", [["survey", "--from"], ["draft"]])
def test_survey_and_draft_show_what_does_not_show(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = ROOT / ("tests/captures/kelp-02.txt" if words[0] == "survey" else "specs/kelp-02.survey.toml")
    text = source.read_text().replace("Kelp 14", "Kelp \u202e14\u009b2J\u2066", 1)
    assert text != source.read_text()
    (tmp_path / "odd").write_text(text)
    main([*words, str(tmp_path / "odd")])
    out, err = capsys.readouterr()
    assert out and shows(out) == [] and shows(err) == []


def test_names_on_the_command_line_are_shown_the_same_way(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (
        ["check", f"/no/{HIDDEN}"],
        ["compile", str(ROOT / "specs/kelp-02.toml"), "--out", f"/no/{HIDDEN}"],
        ["compile", "--as", HIDDEN, "x"],
        ["survey", "--from", f"/no/{HIDDEN}"],
        [f"che{HIDDEN}"],
        ["check", f"--form{HIDDEN}"],
    ):
        assert main(words) in (1, 2)
        assert shows(capsys.readouterr().err) == [], words


@pytest.mark.parametrize("sign", HIDDEN)
def test_no_name_of_a_person_and_no_title_of_a_menu_holds_one(
    sign: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    spec = machine(tmp_path)
    escaped = f"\\U{ord(sign):08X}"
    text = spec.read_text() + f'\n[[users.people]]\nname = "ana"\nfull_name = "A{escaped}na"\n'
    spec.write_text(text)
    assert main(["check", str(spec)]) == 1
    assert "users.people[" in (err := capsys.readouterr().err) and "full_name" in err


# --- wrong words -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "near"),
    [
        (["chek", "x"], "nearest: check"),
        (["check", "--fromat", "json", "x"], "nearest: --format"),
        (["compile", "x", "--out", "y", "--fotce"], "nearest: --force"),
        (["schema", "--of", "specs"], "nearest: spec"),
        (["completion", "bahs"], "nearest: bash"),
    ],
)
def test_a_wrong_word_is_named_with_the_nearest(
    words: list[str], near: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 2
    err = capsys.readouterr().err
    assert near in err and err.count("\n") == 2
