"""The contract as JSON Schema draft 2020-12: `frame.json`, `survey.json` and one file per built-in section."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

__all__ = ["load"]


def load(name: str) -> dict[str, Any]:
    """The schema in `NAME.json` of this package. Raises FileNotFoundError for an unknown name."""
    loaded: dict[str, Any] = json.loads((files(__package__) / f"{name}.json").read_text(encoding="utf-8"))
    return loaded
