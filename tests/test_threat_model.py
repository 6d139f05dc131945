"""The threat model in DEVELOPERS.md: each line names tests, and each test that is named is there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parent.parent
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("## Threat model\n")[1].split("\n## ")[0]
ROWS = [line for line in PAGE.splitlines() if line.startswith("| ")][2:]


def test_each_line_has_a_test_and_each_test_is_there() -> None:
    assert len(ROWS) > 15
    for row in ROWS:
        named = re.findall(r"`([a-z_/]+\.py)::(test_[a-z0-9_]+)`", row)
        assert named, f"no test holds: {row}"
        for file, name in named:
            tree = ast.parse((ROOT / "tests" / file).read_text(encoding="utf-8"))
            assert name in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}, f"{file}: {name}"


def test_every_kind_of_stranger_is_on_the_page() -> None:
    """Everybody whose bytes reach the script or the desk."""
    for who in ("spec", "extends", "survey", "label", "boot entry", "local user", "network", "live medium", "plugin"):
        assert who in PAGE, who
