"""Bad and doubtful input on disk, with the exact report of `bedplate check` beside it: `corpus/invalid/CODE/CASE`
holds what is refused, `corpus/warned/CODE/CASE` what goes through with a warning.

`BEDPLATE_REWRITE=1 pytest tests/test_corpus.py` writes the reports anew and prints what changed.
"""

from __future__ import annotations

import difflib
import json
import os
import re
from collections.abc import Iterable
from pathlib import Path

import pytest

from bedplate.cli.main import main
from bedplate.reading.document import LIMIT

CORPUS = Path(__file__).parent / "corpus"
INVALID = sorted(path.parent for path in (CORPUS / "invalid").glob("*/*/spec.toml"))
WARNED = sorted(path.parent for path in (CORPUS / "warned").glob("*/*/spec.toml"))
HEAD = re.compile(r"^(warning: )?(.+?): .*\[([a-z0-9-]+)\]$")


def name(case: Path) -> str:
    return f"{case.parent.name}/{case.name}"


WHERE = ("--also-from", str(CORPUS))
"""The sound machines that the cases spoil lie above their own folders."""


def report_of(capsys: pytest.CaptureFixture[str], *specs: str) -> tuple[int, str]:
    """Exit status and report of `bedplate check`; what goes to standard output is data, and there is none."""
    status = main(["check", *WHERE, *specs])
    captured = capsys.readouterr()
    assert captured.out == ""
    return status, captured.err


def heads(report: str) -> list[tuple[bool, str, str]]:
    """Whether it is a warning, its place and its code, for each fault of a report."""
    matches = [HEAD.match(line) for line in report.splitlines() if not line.startswith(" ")]
    return [(bool(match[1]), match[2], match[3]) for match in matches if match]


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_the_corpus_is_not_empty() -> None:
    assert len(INVALID) > 180
    assert len(WARNED) > 20


SENTENCE = re.compile(r"^(?:warning: )?\S+: (?:[a-z0-9_.\[\]]+: )?(.*) \[[a-z0-9-]+\]$")
NAMES = ("Bedplate", "FAT", "Secure Boot")


def test_every_fault_is_told_in_one_style() -> None:
    """A message continues its line: it begins in lower case, names apart, and has no full stop."""
    matches = [SENTENCE.match(line) for line in text_of(CORPUS.rglob("report.txt")).splitlines()]
    sentences = [match[1] for match in matches if match]
    assert len(sentences) > 200
    assert [one for one in sentences if one.endswith(".")] == []
    assert [one for one in sentences if one[0].isupper() and not one.startswith(NAMES)] == []


def text_of(files: Iterable[Path]) -> str:
    return "\n".join(path.read_text(encoding="utf-8") for path in files)


@pytest.mark.parametrize("base", ["whole.toml", "beside.toml"])
def test_what_the_cases_spoil_is_without_fault(
    base: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(CORPUS)
    status, report = report_of(capsys, base)
    assert status == 0, report


@pytest.mark.parametrize("case", INVALID, ids=name)
def test_bad_input_gives_its_report_and_nothing_is_written(
    case: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(case)
    before = contents(case)
    status, report = report_of(capsys, "spec.toml")
    assert main(["compile", *WHERE, "spec.toml", "--out", str(tmp_path / "out.md")]) == 1
    assert "Traceback" not in report and status == 1
    assert contents(case) == before and list(tmp_path.iterdir()) == []
    codes = [code for warning, _, code in heads(report) if not warning]
    wanted = case.parent.name
    assert codes == [wanted] if wanted != "several" else len(codes) > 1
    assert all(re.search(r":\d+:\d+$", place) or code == "empty-file" for _, place, code in heads(report))
    compare(case / "report.txt", report)


@pytest.mark.parametrize("case", WARNED, ids=name)
def test_doubtful_input_goes_through_with_a_warning(
    case: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(case)
    status, report = report_of(capsys, "spec.toml")
    assert status == 0
    assert case.parent.name in [code for warning, _, code in heads(report) if warning]
    assert all(re.search(r":\d+:\d+$", place) for _, place, _ in heads(report))
    compare(case / "report.txt", report)


@pytest.mark.parametrize("case", [case for case in INVALID if case.parent.name == "several"], ids=name)
def test_programs_are_told_the_same(
    case: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(case)
    assert main(["check", *WHERE, "--format", "json", "spec.toml"]) == 1
    told = json.loads(capsys.readouterr().out)
    place = "{file}:{line}:{column}"
    as_heads = [(item["severity"] == "warning", place.format_map(item), item["code"]) for item in told]
    assert as_heads == heads((case / "report.txt").read_text(encoding="utf-8"))


def compare(file: Path, report: str) -> None:
    expected = file.read_text(encoding="utf-8") if file.exists() else ""
    if os.environ.get("BEDPLATE_REWRITE") == "1" and report != expected:
        both = expected.splitlines(), report.splitlines()
        lines = difflib.unified_diff(*both, "before", name(file.parent), lineterm="")
        print("\n".join(lines))
        file.write_text(report, encoding="utf-8")
        return
    assert report == expected, f"to accept it: BEDPLATE_REWRITE=1 pytest {Path(__file__).name}"


# --- files that cannot be kept in a repository -----------------------------------------------------------------------


@pytest.mark.parametrize("command", ["check", "compile", "draft"])
@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        ("large", "[too-large]"),
        ("folder", "[not-a-file]"),
        ("missing", "[no-such-file]"),
        ("empty", "[empty-file]"),
        ("device", "[not-a-file]"),
        ("pipe", "[not-a-file]"),
        ("standard input", "[not-a-file]"),
    ],
)
def test_what_is_no_spec_at_all_gives_one_fault(
    command: str, kind: str, expected: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    spec = tmp_path / "spec.toml"
    if kind == "large":
        spec.write_bytes(b"# salt\n" * (10_000_000 // 7))
        assert spec.stat().st_size > 9 * LIMIT
    elif kind == "folder":
        spec.mkdir()
    elif kind == "empty":
        spec.touch()
    elif kind == "device":
        spec = Path("/dev/zero")
    elif kind == "pipe":
        os.mkfifo(spec)
    elif kind == "standard input":
        spec = Path("-")
    before = sorted(tmp_path.iterdir())
    status = main([command, str(spec)])
    captured = capsys.readouterr()
    assert status == (1 if kind in ("large", "empty") else 2) and captured.out == ""
    assert captured.err.startswith(f"{spec}: ") and captured.err.count("[") == 1 and expected in captured.err
    assert sorted(tmp_path.iterdir()) == before


def test_a_pipe_named_in_a_spec_is_told_at_its_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    spec = tmp_path / "spec.toml"
    os.mkfifo(tmp_path / "pipe.toml")
    spec.write_text('format = 1\nextends = "pipe.toml"\n')
    status, report = report_of(capsys, str(spec))
    assert status == 1 and heads(report) == [(False, f"{spec}:2:11", "not-a-file")]


def test_an_unreadable_file_gives_one_fault(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    spec = tmp_path / "spec.toml"
    spec.write_text("format = 1\n")
    spec.chmod(0)
    report_of(capsys, str(CORPUS / "whole.toml"))  # everything is imported before rights are given up
    user = os.geteuid()
    if user == 0:  # root may read everything
        os.seteuid(65534)
    try:
        status, report = report_of(capsys, str(spec))
    finally:
        os.seteuid(user)
    assert status == 2
    assert report.startswith(f"{spec}: ") and [code for _, _, code in heads(report)] == ["unreadable-file"]
