"""Makes `PROVEN.md` beside it from the marks of the tests and `proven.toml`: python tests/reference/proven.py

A test says with `@pytest.mark.proves(family=..., loader=..., manager=..., by="run" or "tool")` what it proves; marks
are read from the tests' text, nothing is run. A whole row is proven by a run that names all three.
"""

from __future__ import annotations

import ast
import functools
import itertools
import tomllib
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from attrs import frozen

from bedplate_steps import bootloader
from bedplate_steps.families import FAMILIES
from bedplate_steps.network.managers import MANAGERS

HERE = Path(__file__).resolve().parent
TESTS = HERE.parent
PARTS = {
    "family": sorted(FAMILIES),
    "loader": sorted(each.name for each in bootloader.bedplate_extensions()),
    "manager": sorted(MANAGERS),
}
"""What a machine is put together from: the names a spec knows."""
DEFAULTS = {"loader": "grub", "manager": "networkd"}
"""What a spec has that names none (bootloader.json, network.json)."""


@frozen(kw_only=True)
class Mark:
    """What one test says it proves."""

    test: str
    """`tests/FILE.py::NAME`."""
    by: str
    """`run` or `tool`."""
    proves: frozenset[tuple[str, str]]
    """Pairs of a part and its value."""
    case: str = ""
    """The machine of the bench it installs, by the name of its spec."""
    bench: bool = False
    """Whether its file boots virtual machines."""


@functools.cache
def marks() -> tuple[Mark, ...]:
    """Every mark of every test, by file and line."""
    return tuple(mark for path in sorted(TESTS.rglob("test_*.py")) for mark in _of_file(path))


def _of_file(path: Path) -> Iterator[Mark]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    bench = any("mark.bench" in ast.unparse(node) for node in tree.body if isinstance(node, ast.Assign))
    cases = {case.stem for case in (TESTS / "vm/cases").glob("*.toml")}
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef):
            continue
        texts = {part.value for part in ast.walk(node) if isinstance(part, ast.Constant)}
        for decorator in node.decorator_list:
            if isinstance(decorator, ast.Call) and ast.unparse(decorator.func) == "pytest.mark.proves":
                words = {word.arg: ast.literal_eval(word.value) for word in decorator.keywords}
                by = str(words.pop("by"))
                pairs = frozenset((str(part), str(value)) for part, value in words.items())
                yield Mark(
                    test=f"{path.relative_to(TESTS.parent)}::{node.name}",
                    by=by,
                    proves=pairs,
                    case=next(iter(sorted(texts & cases)), ""),
                    bench=bench,
                )


@functools.cache
def told() -> dict[str, list[dict[str, str]]]:
    """The reasons, and what is checked against manuals alone."""
    found: dict[str, Any] = tomllib.loads((HERE / "proven.toml").read_text(encoding="utf-8"))
    return {"reason": found["reason"], "manual": found["manual"]}


def rows() -> Iterator[dict[str, str]]:
    """Every combination a spec can ask for."""
    for values in itertools.product(*PARTS.values()):
        yield dict(zip(PARTS, values, strict=True))


def runs(row: dict[str, str]) -> list[str]:
    """Tests that install such a machine and start it."""
    return [mark.test for mark in marks() if mark.by == "run" and mark.proves == frozenset(row.items())]


def reasons(row: dict[str, str]) -> list[str]:
    """Why none does. A reason holds for every row that has all its values."""
    return [each["text"] for each in told()["reason"] if all(row[part] == each[part] for part in PARTS if part in each)]


def by_tool(part: str, value: str) -> list[str]:
    """Tests that put this part's own files or packages before the real programs."""
    return [mark.test for mark in marks() if mark.by == "tool" and (part, value) in mark.proves]


def by_manual(part: str, value: str) -> list[str]:
    """What of this part only manual pages speak for."""
    return [each["text"] for each in told()["manual"] if (each["part"], each["value"]) == (part, value)]


def case_of(mark: Mark) -> frozenset[tuple[str, str]]:
    """What the spec of the bench's machine asks for."""
    spec = tomllib.loads((TESTS / "vm/cases" / f"{mark.case}.toml").read_text(encoding="utf-8"))
    found = {
        "family": spec["base"]["family"],
        "loader": spec["bootloader"].get("loader", DEFAULTS["loader"]),
        "manager": spec["network"].get("manager", DEFAULTS["manager"]),
    }
    return frozenset(found.items())


def text() -> str:
    """The document."""
    lines = [
        "# What is proven, and how",
        "",
        "Made by `python tests/reference/proven.py` from the marks of the tests and `proven.toml`; do not edit.",
        "",
        "A *run* is a case of the proving bench: it installs such a machine, starts it, and wants a clean audit.",
        "*Real tools* are the family's, loader's and manager's own programs, on our files or on small package sources",
        "that the tests make.",
        "What only a *manual* speaks for is named with its page. All of it on amd64; of arm64, names alone.",
        "",
        "| family | loader | manager | by a run | by real tools | by the manual only |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for row in rows():
        run = "<br>".join(f"`{test}`" for test in runs(row)) or "no: " + "; ".join(reasons(row))
        tools = "<br>".join(f"{value}: {len(by_tool(*pair))}" for pair in row.items() for value in pair[1:])
        lines.append(_line([*row.values(), run, tools, _manuals(row)]))
    lines += ["", "The tests behind the numbers:", "", "| part | tests with the real tools |", "| --- | --- |"]
    for part, value in ((part, value) for part, values in PARTS.items() for value in values):
        lines.append(_line([f"{part} {value}", "<br>".join(f"`{test}`" for test in by_tool(part, value))]))
    return "\n".join(lines) + "\n"


def _manuals(row: dict[str, str]) -> str:
    found = [f"{value}: {each}" for part, value in row.items() for each in by_manual(part, value)]
    return "<br>".join(found) or "nothing"


def _line(cells: Iterable[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


if __name__ == "__main__":
    (HERE / "PROVEN.md").write_text(text(), encoding="utf-8")
