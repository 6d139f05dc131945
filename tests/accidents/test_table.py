"""Every accident of the catalogue has its test, and the document is fresh."""

from __future__ import annotations

import re

from accidents import table


def test_every_accident_has_its_test_and_every_test_its_accident() -> None:
    rows = [row["id"] for row in table.catalogue()]
    assert len(rows) == len(set(rows)) >= 64
    staged = {name for name in table.tests() if re.fullmatch(r"[A-Z][0-9]+", name)}
    assert staged == set(rows)


def test_every_row_is_whole() -> None:
    for row in table.catalogue():
        assert row["moment"] in table.MOMENTS and row["what"] and row["catch"] and row["source"], row["id"]
        assert (row["moment"] == "caution") == ("reason" in row), row["id"]


def test_the_document_is_fresh() -> None:
    assert (table.HERE / "README.md").read_text(encoding="utf-8") == table.text(), (
        "make it anew: python tests/accidents/table.py"
    )
