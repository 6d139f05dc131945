"""The package families, by the word in the spec."""

from __future__ import annotations

from bedplate_steps.base.families.apt import APT
from bedplate_steps.base.families.dnf import DNF
from bedplate_steps.base.families.interface import PackageFamily
from bedplate_steps.base.families.pacman import PACMAN

__all__ = ["FAMILIES", "PackageFamily"]

FAMILIES: dict[str, PackageFamily] = {family.name: family for family in (APT, PACMAN, DNF)}
