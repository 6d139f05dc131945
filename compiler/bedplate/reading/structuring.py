"""Plain values become frozen attrs models. Enters: data and a class. Leaves: an instance, or faults by path.

Nothing is coerced: text is not a number and 1 is not true.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache
from typing import Any, TypeVar, get_args, get_origin

from attrs import fields
from cattrs import BaseConverter, ClassValidationError, Converter, IterableValidationError, IterableValidationNote
from cattrs.errors import ForbiddenExtraKeysError

from bedplate.faults import Fault, Path, nearest, one_of, shown
from bedplate.units import ALLOWED, ALLOWED_REQUEST, UNITS, Request, Size, parse_request, parse_size

T = TypeVar("T")


def structured(data: Any, model: type[T]) -> T:
    """`data`, which keeps the schema of `model`, as that. Raises whatever cattrs or the model raises;
    `structure_faults` then tells why."""
    return _converter(detailed=False).structure(data, model)


def structure_faults(data: Any, model: type[Any]) -> list[Fault]:
    """Why `data` is no `model`, paths relative to `data`; empty if it is one."""
    try:
        _converter(detailed=True).structure(data, model)
    except Exception as error:
        return list(_explain(error, ()))
    return []


# --- the converter ---------------------------------------------------------------------------------------------------


class _BadSize(ValueError):
    """Text that is no size. Carries the text and what may stand there."""

    def __init__(self, message: str, found: str, allowed: str) -> None:
        super().__init__(message)
        self.found, self.allowed = found, allowed


@lru_cache
def _converter(*, detailed: bool) -> BaseConverter:
    """Detailed errors cost time on every value, so they are made only once something is known to be wrong; and a
    function written for each class costs more than it saves on one spec."""
    converter = Converter(forbid_extra_keys=True) if detailed else BaseConverter(detailed_validation=False)
    for kind in (str, int, bool, float):
        converter.register_structure_hook(kind, _exactly)
    converter.register_structure_hook(Size, lambda text, _: _size(text, parse_size, ALLOWED))
    converter.register_structure_hook_func(_is_request, _request)
    if detailed:
        converter.register_structure_hook_func(_is_list, lambda value, kind: _list(value, kind, converter))
    return converter


def _is_list(kind: Any) -> bool:
    return get_origin(kind) is tuple and get_args(kind)[1:] == (...,)


def _list(value: Any, kind: Any, converter: BaseConverter) -> tuple[Any, ...]:
    """Only a list is one: text and tables could be walked through as well."""
    if not isinstance(value, list | tuple):
        raise TypeError("this must be a list")
    element, made, errors = get_args(kind)[0], [], []
    for index, one in enumerate(value):
        try:
            made.append(converter.structure(one, element))
        except Exception as error:
            error.add_note(IterableValidationNote(f"element {index}", index, element))
            errors.append(error)
    if errors:
        raise IterableValidationError("elements of a list", errors, kind)
    return tuple(made)


def _exactly(value: Any, kind: type[T]) -> T:
    if type(value) is not kind:
        raise TypeError(f"this must be of type {kind.__name__}")
    return value


def _is_request(kind: Any) -> bool:
    return set(get_args(kind)) - {type(None)} == set(get_args(Request))


def _request(text: Any, kind: Any) -> Any:
    return None if text is None else _size(text, parse_request, ALLOWED_REQUEST)


def _size(text: Any, parse: Any, allowed: str) -> Any:
    if type(text) is not str:
        raise TypeError("this must be text in quotes")
    try:
        return parse(text)
    except ValueError as error:
        raise _BadSize(str(error), text, allowed) from None


# --- errors in our words ---------------------------------------------------------------------------------------------


def _explain(error: BaseException, path: Path) -> Iterator[Fault]:
    if isinstance(error, ClassValidationError):
        noted, rest = error.group_exceptions()
        for inner, note in noted:
            yield from _explain(inner, (*path, note.name))
        for inner in rest:
            yield from _explain_class(inner, path, error.cl)
    elif isinstance(error, IterableValidationError):
        elements, rest = error.group_exceptions()
        for inner, mark in elements:
            yield from _explain(inner, (*path, mark.index))
        for inner in rest:
            yield from _explain(inner, path)
    else:
        yield _leaf(error, path)


def _explain_class(error: BaseException, path: Path, model: type[Any]) -> Iterator[Fault]:
    if not isinstance(error, ForbiddenExtraKeysError):
        yield from _explain(error, path)
        return
    known = [field.name for field in fields(model)]
    for key in sorted(error.extra_fields):
        yield Fault(
            code="unknown-key",
            message="there is no such key",
            path=(*path, key),
            found=shown(key),
            allowed=one_of(known),
            nearest=nearest(key, known),
        )


def _leaf(error: BaseException, path: Path) -> Fault:
    if isinstance(error, _BadSize):
        near = _respelt(error.found)
        found = shown(error.found)
        return Fault(code="bad-size", message=str(error), path=path, found=found, allowed=error.allowed, nearest=near)
    if isinstance(error, KeyError):
        key = str(error.args[0])
        here = path if path[-1:] == (key,) else (*path, key)
        return Fault(code="missing-key", message=f"the key {key} is missing", path=here)
    words = str(error) or type(error).__name__
    return Fault(code="wrong-type" if isinstance(error, TypeError) else "bad-value", message=words, path=path)


def _respelt(text: str) -> str | None:
    """The size with its unit spelt right, if it is near to one; a bare K, M, G or T is left to the person."""
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([A-Za-z]{2,})\s*", text)
    unit = nearest(match[2], UNITS) if match else None
    respelt = f"{match[1]}{unit}" if match and unit else text
    return respelt if respelt != text else None
