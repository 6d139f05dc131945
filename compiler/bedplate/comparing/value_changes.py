"""Values of a section compared as they stand in the file, for steps that do not tell their changes themselves.

Enters: two plain values. Leaves: sentences with the path on either side. Arrays of tables are matched by `name`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from bedplate.faults import Path, dotted, shown

Difference = tuple[str, Path | None, Path | None]
"""What differs in words, and where it stands in the old and in the new section."""


def differences(old: Any, new: Any, old_path: Path = (), new_path: Path = ()) -> Iterator[Difference]:
    """Every value that is not the same, outermost first."""
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        yield from _tables(old, new, old_path, new_path)
    elif _named(old) and _named(new):
        yield from _arrays(old, new, old_path, new_path)
    elif old != new:
        yield f"{dotted(new_path)}: {_value(new)} replaces {_value(old)}", old_path, new_path


def _tables(old: Mapping[str, Any], new: Mapping[str, Any], old_path: Path, new_path: Path) -> Iterator[Difference]:
    for key in dict.fromkeys((*new, *old)):
        here, there = (*new_path, key), (*old_path, key)
        if key not in old:
            yield f"{dotted(here)}: {_value(new[key])} is new", None, here
        elif key not in new:
            yield f"{dotted(there)}: {_value(old[key])} is gone", there, None
        else:
            yield from differences(old[key], new[key], there, here)


def _arrays(old: list[Any], new: list[Any], old_path: Path, new_path: Path) -> Iterator[Difference]:
    before = {item["name"]: index for index, item in enumerate(old)}
    after = {item["name"]: index for index, item in enumerate(new)}
    for name, index in after.items():
        if name in before:
            there = (*old_path, before[name])
            yield from differences(old[before[name]], new[index], there, (*new_path, index))
        else:
            yield f"{dotted(new_path)}: {shown(name)} is new", None, (*new_path, index)
    for name, index in before.items():
        if name not in after:
            yield f"{dotted(old_path)}: {shown(name)} is gone", (*old_path, index), None


def _named(value: Any) -> bool:
    if not isinstance(value, list):
        return False
    return all(isinstance(item, Mapping) and isinstance(item.get("name"), str) for item in value)


def _value(value: Any) -> str:
    if isinstance(value, str):
        return shown(value)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return ", ".join(_value(item) for item in value) or "nothing"
    return "a table" if isinstance(value, Mapping) else str(value)
