"""The runtime that scripts carry along, in parts (`sh/_PART.sh`). Enters: a part's name. Leaves: its text."""

from __future__ import annotations

from bedplate.functions import SHARED


def part(name: str) -> str:
    """The part `sh/_NAME.sh`."""
    return SHARED.text(f"_{name}.sh")
