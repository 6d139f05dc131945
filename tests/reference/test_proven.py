"""The table of what is proven: every cell has a test or a reason, and what the marks say is so."""

from __future__ import annotations

import pytest

from .proven import HERE, PARTS, Mark, by_tool, case_of, marks, reasons, rows, runs, text, told

MARKS = marks()


@pytest.mark.parametrize("row", list(rows()), ids=lambda row: "-".join(row.values()))
def test_a_row_has_a_run_or_a_reason_and_not_both(row: dict[str, str]) -> None:
    assert bool(runs(row)) != bool(reasons(row)), (runs(row), reasons(row))


@pytest.mark.parametrize(("part", "value"), [(part, value) for part, values in PARTS.items() for value in values])
def test_every_part_meets_its_real_tools(part: str, value: str) -> None:
    assert by_tool(part, value)


def test_reasons_and_manuals_speak_of_what_there_is() -> None:
    for each in told()["reason"]:
        assert any(reason == each["text"] for row in rows() for reason in reasons(row)), each
    for each in told()["manual"]:
        assert each["value"] in PARTS[each["part"]], each


@pytest.mark.parametrize("mark", MARKS, ids=[mark.test.rpartition("::")[2] for mark in MARKS])
def test_a_mark_says_what_is_so(mark: Mark) -> None:
    """A run is one of the bench, of a machine whose spec asks for what the mark says."""
    assert mark.by in ("run", "tool")
    assert mark.proves and all(value in PARTS[part] for part, value in mark.proves)
    if mark.by == "run":
        assert mark.bench and mark.proves == case_of(mark)
    else:
        assert not mark.bench


def test_the_document_is_fresh() -> None:
    assert (HERE / "PROVEN.md").read_text(encoding="utf-8") == text(), "python tests/reference/proven.py makes it anew"
