"""The package families that come with Bedplate; others come through the point `base.family`."""

from __future__ import annotations

from bedplate.hookspecs import Context
from bedplate_steps.base.families.apt import APT
from bedplate_steps.base.families.dnf import DNF
from bedplate_steps.base.families.interface import PackageFamily
from bedplate_steps.base.families.pacman import PACMAN
from bedplate_steps.base.model import Base

__all__ = ["FAMILIES", "PackageFamily", "chosen"]

FAMILIES: dict[str, PackageFamily] = {family.name: family for family in (APT, PACMAN, DNF)}


def chosen(base: Base, context: Context) -> PackageFamily:
    """The family the section names."""
    return context.extensions(PackageFamily)[base.family]
