"""A table of the spec described once: its class says to Python what it holds and to people what may stand there.

Enters: classes made with `table`, their fields with `key`. Leaves: frozen attrs classes, and their JSON Schema (draft
2020-12, https://json-schema.org/draft/2020-12/json-schema-validation).

    @table
    class Buoy:
        \"\"\"The light on the station's buoy.\"\"\"

        name: str = key("The buoy's name.", pattern="^[a-z]{1,20}$")
        hours: int = key("Hours of light after dusk.", minimum=1, maximum=16, default=8)

A field without a default must stand in the spec. A table in a table is a class of its own, described by its docstring;
an array is `tuple[X, ...]`; a word out of several is a `Literal`; `Size` and `Request` of `bedplate.units` take text
such as "56GiB". None and the empty text as defaults stand for what is left out.
"""

from collections.abc import Callable, Mapping
from types import NoneType, UnionType
from typing import Any, Literal, TypedDict, TypeVar, Union, Unpack, dataclass_transform, get_args, get_origin, overload

import attrs

from bedplate.units import REQUEST_PATTERN, SIZE_PATTERN, Request, Size

T = TypeVar("T")
M = TypeVar("M", bound=type[Any])

ADDRESS = "https://bedplate.example/schema/"
"""Where identities of schemas begin. A name, no place: schemas are never fetched."""

CONTROL = r"\u0000-\u001f\u007f"
"""Control characters, line breaks among them, as a part of a pattern's character class."""
INVISIBLE = (
    r"\u0000-\u001f\u007f-\u009f\u00ad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff" "\U000e0000-\U000e007f"
)
"""The same, and every other sign that does not show or turns the direction of writing."""
ONE_LINE = f"^[^{CONTROL}]*$"
"""The pattern of a text that says nothing else."""


class Keywords(TypedDict, total=False):
    """Keywords of JSON Schema, by the names they have there: words for people, rules for the validator."""

    title: str
    """Left out: the name of the field or class in words, `hardware_clock` as "Hardware clock"."""
    description: str
    examples: tuple[Any, ...]
    const: Any
    enum: tuple[Any, ...]
    pattern: str | None
    """None: any text at all, line breaks included."""
    minLength: int
    maxLength: int
    minimum: int
    maximum: int
    minItems: int
    maxItems: int
    uniqueItems: bool
    items: "Keywords"
    """Of an array's elements."""
    dependentRequired: Mapping[str, tuple[str, ...]]
    """Of a table: the keys that a key needs beside it."""


_KEYWORDS, _REQUIRED, _TABLE = "bedplate.schema.keywords", "bedplate.schema.required", "__bedplate_table__"
_NONE = Keywords()


@overload
def key(
    description: str, common: Keywords = ..., /, *, default: T, required: bool = ..., **own: Unpack[Keywords]
) -> T: ...
@overload
def key(description: str, common: Keywords = ..., /, **own: Unpack[Keywords]) -> Any: ...
def key(
    description: str, common: Keywords = _NONE, /, *, default: Any = attrs.NOTHING, required: bool = False, **own: Any
) -> Any:
    """A key of a table: what a person reads about it, what its value has to keep (`common` with other keys, and its
    own), and its default. With `required` the default is for Python only: in TOML the key has to stand."""
    metadata = {_KEYWORDS: {**common, "description": description, **own}, _REQUIRED: required}
    return attrs.field(default=default, metadata=metadata)


@overload
def table(model: M) -> M: ...
@overload
def table(**keywords: Unpack[Keywords]) -> Callable[[M], M]: ...
@dataclass_transform(kw_only_default=True, frozen_default=True, field_specifiers=(key,))
def table(model: Any = None, **keywords: Any) -> Any:
    """Class decorator: a frozen attrs class, made with keyword arguments and described by its docstring."""
    if model is None:
        return lambda model: _made(model, keywords)
    return _made(model, {})


def _made(model: type[Any], keywords: Mapping[str, Any]) -> type[Any]:
    made: type[Any] = attrs.frozen(model, kw_only=True, eq=False, repr=False)
    for name, value in (("__eq__", _same), ("__hash__", _hash), ("__repr__", _shown), (_TABLE, keywords)):
        setattr(made, name, value)
    return made


# The methods that attrs would write and compile for each class: half of the time that a class takes to be made, and a
# command waits for all of them.


def _values(item: Any) -> tuple[object, ...]:
    return tuple(getattr(item, one.name) for one in attrs.fields(type(item)))


def _same(item: object, other: object) -> bool:
    return _values(item) == _values(other) if type(item) is type(other) else NotImplemented


def _hash(item: object) -> int:
    return hash((type(item), _values(item)))


def _shown(item: Any) -> str:
    words = (f"{one.name}={getattr(item, one.name)!r}" for one in attrs.fields(type(item)))
    return f"{type(item).__name__}({', '.join(words)})"


def is_table(model: object) -> bool:
    """Whether it is a class made with `table`."""
    return isinstance(model, type) and _TABLE in vars(model)


# --- the schema ------------------------------------------------------------------------------------------------------


def document(name: str, schema: Mapping[str, Any]) -> dict[str, Any]:
    """A schema as a document of its own, with draft and identity."""
    heads = {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": f"{ADDRESS}{name}.json"}
    return {**heads, **schema}


def json_schema(model: type[Any]) -> dict[str, Any]:
    """The schema of a table, closed. Raises TypeError, with the field, where no TOML could fill one."""
    fields = attrs.fields(model)
    if any(isinstance(one.type, str) for one in fields):  # from __future__ import annotations
        try:
            fields = attrs.fields(attrs.resolve_types(model))
        except NameError as error:
            raise TypeError(f"the types of {model.__name__} cannot be told: {error}; import them at the top") from None
    said = " ".join((model.__doc__ or "").split())
    return {
        "title": _in_words(model.__name__),
        **({"description": said} if said else {}),
        "type": "object",
        "properties": {one.name: _property(one, f"{model.__name__}.{one.name}") for one in fields},
        "required": [one.name for one in fields if _required(one)],
        "unevaluatedProperties": False,
        **_plain(getattr(model, _TABLE)),
    }


def _required(one: "attrs.Attribute[Any]") -> bool:
    return one.default is attrs.NOTHING or bool(one.metadata.get(_REQUIRED))


def _property(one: "attrs.Attribute[Any]", where: str) -> dict[str, Any]:
    found = {"title": _in_words(one.name), **_value(one.type, one.metadata.get(_KEYWORDS, {}), where)}
    shown = isinstance(one.default, str | bool | int | float | tuple) and one.default != "" and "minItems" not in found
    if shown and not _required(one):
        found["default"] = _plain(one.default)
    return found


def _value(hint: Any, keywords: Mapping[str, Any], where: str) -> dict[str, Any]:
    """The schema of a value of type `hint`, its keywords before those that follow from the type."""
    unknown = keywords.keys() - Keywords.__annotations__.keys()
    if unknown:
        raise TypeError(f"{where}: there is no keyword {min(unknown)}; there are {', '.join(Keywords.__annotations__)}")
    origin, inner = get_origin(hint), get_args(hint)
    kinds = [kind for kind in inner if kind is not NoneType] if origin in (Union, UnionType) else [hint]
    if set(kinds) == set(get_args(Request)):
        kinds = [Request]
    if len(kinds) > 1:
        forms = [_value(kind, keywords, where) for kind in kinds]
        return {word: value for form in forms for word, value in form.items()} | {"type": [f["type"] for f in forms]}
    own = {word: _plain(value) for word, value in keywords.items() if word != "items"}
    words = {word: own[word] for word in ("title", "description") if word in own}
    found = words | _of_type(kinds[0], keywords, where)
    if "enum" in own or own.get("pattern", "") is None:
        found.pop("pattern", None)
    return found | {word: value for word, value in own.items() if value is not None}


_SCALARS: Mapping[Any, Mapping[str, Any]] = {
    str: {"type": "string", "pattern": ONE_LINE},
    bool: {"type": "boolean"},
    int: {"type": "integer"},
    float: {"type": "number"},
    Size: {"type": "string", "pattern": SIZE_PATTERN},
    Request: {"type": "string", "pattern": REQUEST_PATTERN},
}


def _of_type(hint: Any, keywords: Mapping[str, Any], where: str) -> dict[str, Any]:
    inner = get_args(hint)
    if hint in _SCALARS:
        return dict(_SCALARS[hint])
    if get_origin(hint) is Literal:
        return {"type": _SCALARS[type(inner[0])]["type"], "enum": [word for word in inner if word != ""]}
    if get_origin(hint) is tuple and inner[1:] == (...,):
        return {"type": "array", "items": _value(inner[0], keywords.get("items", {}), where)}
    if is_table(hint):
        return json_schema(hint)
    kinds = "text, a number, true or false, a size, a Literal, a table, or a tuple[X, ...] of these"
    raise TypeError(f"{where} is of type {hint}; a field is {kinds}")


def _in_words(name: str) -> str:
    """`hardware_clock` and `HardwareClock` as "Hardware clock"."""
    return "".join(f" {sign}" if sign.isupper() else sign for sign in name).replace("_", " ").strip().capitalize()


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {word: _plain(item) for word, item in value.items()}
    return [_plain(item) for item in value] if isinstance(value, tuple | list) else value
