"""The package families that come with Bedplate: what each says of every concern that a step asks it for.

A family is frozen values, one for each concern, whose types stand in the module `family` of the step that asks. Nobody
outside this room decides anything by a family's name; others come through the same hook.
"""

from __future__ import annotations

from collections.abc import Mapping

from bedplate import Extension, hookimpl
from bedplate.functions import Folder
from bedplate_steps.families import apt, dnf, pacman

__all__ = ["FAMILIES", "bedplate_contract", "bedplate_extensions"]

bedplate_contract = 1

FAMILIES: Mapping[str, tuple[object, ...]] = {"apt": apt.CONCERNS, "pacman": pacman.CONCERNS, "dnf": dnf.CONCERNS}
"""By the word in the spec."""


@hookimpl
def bedplate_extensions() -> list[Extension]:
    """The families' values; with the first, which says how packages are had, come the family's shell functions."""
    return [
        Extension(
            point="base.family", name=name, value=record, functions={} if number else Folder(f"{__name__}.{name}")
        )
        for name, records in FAMILIES.items()
        for number, record in enumerate(records)
    ]
