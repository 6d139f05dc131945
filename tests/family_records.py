"""What a package family says of a concern, for contexts that tests make themselves."""

from __future__ import annotations

from typing import TypeVar

from bedplate_steps.base.family import PackageFamily
from bedplate_steps.families import FAMILIES

T = TypeVar("T")


def record(family: str, kind: type[T]) -> T:
    """The family's value of that type."""
    return next(one for one in FAMILIES[family] if isinstance(one, kind))


PACKAGE_FAMILIES = {name: record(name, PackageFamily) for name in FAMILIES}
