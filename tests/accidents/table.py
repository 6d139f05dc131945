"""Makes `README.md` beside it from `catalogue.toml` and the tests: python tests/accidents/table.py"""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
MOMENTS = ("spec", "survey", "guard", "proof", "audit", "caution")


def catalogue() -> list[dict[str, Any]]:
    """The rows, in order."""
    rows: list[dict[str, Any]] = tomllib.loads((HERE / "catalogue.toml").read_text(encoding="utf-8"))["accident"]
    return rows


def tests() -> dict[str, str]:
    """From an accident's id to the test that stages it, as FILE::NAME."""
    found: dict[str, str] = {}
    for path in sorted(HERE.glob("test_*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                found.setdefault(node.name.split("_")[1].upper(), f"{path.name}::{node.name}")
    return found


def text() -> str:
    """The document."""
    rows, staged = catalogue(), tests()
    lines = [
        "# Accidents and their catches",
        "",
        "Made by `python tests/accidents/table.py` from `catalogue.toml` and the tests; do not edit.",
        "",
        f"{len(rows)} accidents of people who did this job by hand. Every test stages one, wants the catch and its",
        "words, and runs again with each catch taken out, when it has to fail.",
        "",
        "| accident | what happened | caught | by | test | read in |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for row in rows:
        test = staged.get(row["id"], "")
        cells = (row["id"], row["what"], row["moment"], row["catch"], f"`{test}`", row["source"])
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    lines += ["", "## Only a caution", "", "Where nothing but a person can look, a caution stands at its place:", ""]
    lines += [f"- {row['id']}: {row['reason']}" for row in rows if row["moment"] == "caution"]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    (HERE / "README.md").write_text(text(), encoding="utf-8")
