"""Bad input on disk: `corpus/invalid/CODE/CASE/spec.toml`, with the exact report of `bedplate check` beside it.

`BEDPLATE_REWRITE=1 pytest tests/test_corpus.py` writes the reports anew and prints what changed.
"""

from __future__ import annotations

import difflib
import os
import re
from pathlib import Path

import pytest

from bedplate.cli import main
from bedplate.document import LIMIT

CORPUS = Path(__file__).parent / "corpus"
CASES = sorted(path.parent for path in (CORPUS / "invalid").glob("*/*/spec.toml"))
HEAD = re.compile(r"^(warning: )?(.+?): .*\[([a-z0-9-]+)\]$")


def name(case: Path) -> str:
    return f"{case.parent.name}/{case.name}"


def report_of(capsys: pytest.CaptureFixture[str], *specs: str) -> tuple[int, str]:
    """Exit status and report of `bedplate check`; what goes to standard output is data, and there is none."""
    status = main(["check", *specs])
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
    assert len(CASES) > 60


@pytest.mark.parametrize("base", ["whole.toml", "beside.toml"])
def test_what_the_cases_spoil_is_without_fault(
    base: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(CORPUS)
    status, report = report_of(capsys, base)
    assert status == 0, report


@pytest.mark.parametrize("case", CASES, ids=name)
def test_bad_input_gives_its_report_and_nothing_is_written(
    case: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(case)
    before = contents(case)
    status, report = report_of(capsys, "spec.toml")
    assert main(["compile", "spec.toml", "--out", str(tmp_path / "out.md")]) == 1
    assert "Traceback" not in report and status == 1
    assert contents(case) == before and list(tmp_path.iterdir()) == []
    codes = [code for warning, _, code in heads(report) if not warning]
    wanted = case.parent.name
    assert codes == [wanted] if wanted != "several" else len(codes) > 1
    assert all(re.search(r":\d+:\d+$", place) or code == "empty-file" for _, place, code in heads(report))
    compare(case / "report.txt", report)


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
        ("device", "[too-large]"),
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
    before = sorted(tmp_path.iterdir())
    status = main([command, str(spec)])
    captured = capsys.readouterr()
    assert status in (1, 2) and captured.out == ""
    assert captured.err.startswith(f"{spec}: ") and captured.err.count("[") == 1 and expected in captured.err
    assert sorted(tmp_path.iterdir()) == before


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
    assert status == 1
    assert report.startswith(f"{spec}: ") and [code for _, _, code in heads(report)] == ["unreadable-file"]
