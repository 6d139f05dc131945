"""The rules of the house that a machine can check: module sizes, docstrings, prefixes, no path or clock in the core."""

from __future__ import annotations

import ast
import importlib
import re
from pathlib import Path

import pytest

from bedplate.actions import KINDS

ROOT = Path(__file__).resolve().parent.parent
SOURCES = sorted(path for top in ("compiler", "plugins", "schema") for path in (ROOT / top).rglob("*.py"))


def test_there_are_sources() -> None:
    assert len(SOURCES) > 20


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_is_short_and_says_what_it_is(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= 500
    assert ast.get_docstring(ast.parse(text))


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_public_names_have_docstrings(path: Path) -> None:
    missing = [
        node.name
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
        and not node.name.startswith("_")
        and not ast.get_docstring(node)
        and node.name not in {"bedplate_steps", "bedplate_renderers"}
        and "overload" not in [ast.unparse(one) for one in node.decorator_list]
    ]
    assert missing == []


FORBIDDEN = {"os", "pathlib", "subprocess", "time", "datetime", "random", "secrets", "tempfile", "shutil", "socket"}


def _is_inside(path: Path) -> bool:
    """The conformance kit runs shellcheck and a shell, as tests do."""
    return path.parent.name not in {"cli", "testing"}


@pytest.mark.parametrize("path", list(filter(_is_inside, SOURCES)), ids=lambda path: path.name)
def test_only_the_command_line_touches_disk_clock_and_chance(path: Path) -> None:
    imported: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            imported.update(name.name.split(".")[0] for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            imported.add((node.module or "").split(".")[0])
    assert imported & FORBIDDEN == set()


def test_the_top_level_holds_nothing_else() -> None:
    wanted = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "LICENSE",
        "compiler",
        "plugins",
        "schema",
        "specs",
        "tests",
        ".ci",
        ".gitignore",
    }
    ignored = {".git", ".venv", "out", "build", "dist"}
    found = {path.name for path in ROOT.iterdir()} - ignored
    assert {name for name in found if not name.endswith(("_cache", ".egg-info")) and name != ".hypothesis"} == wanted


STEPS = sorted(path.parent for path in (ROOT / "plugins" / "bedplate_steps").glob("*/model.py"))


@pytest.mark.parametrize("folder", STEPS, ids=lambda path: path.name)
def test_every_step_has_the_same_files(folder: Path) -> None:
    wanted = {"model.py", "validate.py", "emit.py", "changes.py", "draft.py"}
    [step] = importlib.import_module(f"bedplate_steps.{folder.name}").bedplate_steps()
    assert wanted | ({"facts.py"} if step.facts else set()) <= {path.name for path in folder.iterdir()}
    made = [step.validate, step.emit, step.changes, step.draft, *step.facts.values(), step.model]
    homes = [f"bedplate_steps.{folder.name}.{name}" for name in ("validate", "emit", "changes", "draft")]
    homes += [f"bedplate_steps.{folder.name}.facts"] * len(step.facts) + [f"bedplate_steps.{folder.name}.model"]
    assert [one.__module__ for one in made] == homes


RENDERINGS = sorted((ROOT / "compiler/bedplate/rendering").rglob("*.py"))


@pytest.mark.parametrize("path", RENDERINGS, ids=lambda path: path.name)
def test_renderings_find_nothing_by_the_spelling_of_a_token(path: Path) -> None:
    constants = [node.value for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Constant)]
    words = [one for one in constants if isinstance(one, str) and re.fullmatch(r"[a-z]+:[^\s{]+", one)]
    assert [one for one in words if one.partition(":")[0] in KINDS] == []
