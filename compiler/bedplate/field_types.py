"""Fields that take what their annotation says. Enters: an attrs class whose annotations are types, not texts. Leaves:
the class, with a validator for each field.

Python does not look at types: an argument vector given as one text would be taken letter by letter.
"""

from collections.abc import Callable
from types import UnionType
from typing import Any, get_args, get_origin

import attrs

_NAMES: dict[object, str] = {str: "text", bool: "True or False", int: "a whole number", type(None): "None"}


def typed(_cls: type, fields: list["attrs.Attribute[Any]"]) -> list["attrs.Attribute[Any]"]:
    """For `field_transformer`: anything but what the annotation says raises TypeError; then follows a field's own
    validator."""
    return [one.evolve(validator=_taking(one.type, one.validator)) for one in fields]


def one_line(_item: object, attribute: "attrs.Attribute[str]", text: str) -> None:
    """A validator. Raises ValueError for a text that is empty, or of several lines."""
    if not text.strip() or "\n" in text:
        raise ValueError(f"{attribute.name} must be one line of text: {text!r}")


def _taking(kind: Any, further: Callable[..., None] | None) -> Callable[..., None]:
    fits = _test(kind)

    def take(item: object, attribute: "attrs.Attribute[Any]", value: object) -> None:
        if not fits(value):
            raise TypeError(f"{attribute.name} must be {_words(kind)}: {value!r}")
        if further is not None:
            further(item, attribute, value)

    return take


def _test(kind: Any) -> Callable[[Any], bool]:
    """Whether a value is of that type. Of a mapping or a function only that it is one."""
    origin, members = get_origin(kind), get_args(kind)
    if origin is tuple:
        inner = _test(members[0])
        return lambda value: type(value) is tuple and (not value or all(map(inner, value)))
    if origin is UnionType:
        tests = tuple(map(_test, members)) if any(map(get_origin, members)) else ()
        return lambda value: any(test(value) for test in tests) if tests else isinstance(value, kind)
    plain: Any = object if kind is Any else origin or kind
    is_one: Callable[[Any], bool] = plain.__instancecheck__
    return is_one


def _words(kind: Any) -> str:
    """A type for people: "a tuple of text, Disk or InTarget"."""
    origin, members = get_origin(kind), get_args(kind)
    if origin is tuple:
        return f"a tuple of {_words(members[0])}"
    if origin is UnionType:
        *others, last = map(_words, members)
        return f"{', '.join(others)} or {last}"
    return _NAMES.get(kind) or str(getattr(kind, "__name__", kind))
