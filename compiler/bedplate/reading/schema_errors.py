"""What a JSON Schema (draft 2020-12) finds wrong, in our own words.

Enters: a schema, data, and a way to tell places. Leaves: faults. Nothing of jsonschema's own wording is shown.
https://json-schema.org/draft/2020-12/json-schema-validation
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any, Protocol

import jsonschema  # type: ignore[import-untyped]
from attrs import evolve, frozen
from jsonschema.exceptions import ValidationError  # type: ignore[import-untyped]
from jsonschema.validators import extend  # type: ignore[import-untyped]

from bedplate.faults import Fault, Path, Place, dotted, nearest, one_of, shown


class Locate(Protocol):
    """Gives the place of the value at a path or, with `key`, of its key."""

    def __call__(self, path: Path, *, key: bool = False) -> Place: ...


TYPES = {
    "string": "text in quotes",
    "integer": "a whole number",
    "number": "a number",
    "boolean": "true or false",
    "array": "an array",
    "object": "a table",
}
"""JSON Schema's types in the words of TOML."""


# --- the validator -------------------------------------------------------------------------------------------------


@lru_cache(maxsize=512)
def _pattern(pattern: str) -> re.Pattern[str]:
    """`pattern` as ECMA-262 means it: `$` is the very end (Python's lets a line break follow), classes are ASCII."""
    pieces = re.findall(r"\\.|\[(?:\\.|[^\]\\])*\]|.", pattern, re.DOTALL)
    return re.compile("".join(r"\Z" if piece == "$" else piece for piece in pieces), re.ASCII)


def _match(_: Any, pattern: str, instance: Any, __: Any) -> Iterator[ValidationError]:
    if isinstance(instance, str) and not _pattern(pattern).search(instance):
        yield ValidationError("")


def _is_whole(_: Any, value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


_DRAFT = jsonschema.Draft202012Validator
_Validator = extend(_DRAFT, {"pattern": _match}, type_checker=_DRAFT.TYPE_CHECKER.redefine("integer", _is_whole))


def schema_faults(schema: Mapping[str, Any], data: Any, locate: Locate, *, sections: bool = False) -> list[Fault]:
    """Every fault `schema` finds in `data`, each once. With `sections`, tables at the top are a spec's sections."""
    view = _View(locate=locate, sections=sections)
    return _one_each([fault for error in _Validator(schema).iter_errors(data) for fault in _explain(error, view)])


def _one_each(found: list[Fault]) -> list[Fault]:
    """One fault for one mistake: a value of a wrong type is no unknown value too, a misspelt key is not missing too."""
    mistyped = {fault.path for fault in found if fault.code == "wrong-type"}
    strange, missing = ("unknown-key", "unknown-section"), ("missing-key", "missing-section")
    misspelt = {(*fault.path[:-1], fault.nearest) for fault in found if fault.code in strange}
    return [
        fault
        for fault in dict.fromkeys(found)
        if not (fault.path in mistyped and fault.code != "wrong-type")
        and not (fault.path in misspelt and fault.code in missing)
    ]


@frozen(kw_only=True)
class _View:
    """What explaining an error takes besides the error."""

    locate: Locate
    sections: bool


# --- one error, its faults -------------------------------------------------------------------------------------------

_Explain = Callable[[ValidationError, Path, _View], Iterable[Fault]]


def _explain(error: ValidationError, view: _View) -> Iterator[Fault]:
    yield from _KEYWORDS[str(error.validator)](error, tuple(error.absolute_path), view)


def written(value: object) -> str:
    """A value as a person would recognise it in the file."""
    if isinstance(value, str):
        return shown(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"an array of {len(value)}"
    if hasattr(value, "isoformat"):
        return f"{value.isoformat()} (a date or time)"
    return str(value)


def _meant(error: ValidationError) -> str | None:
    """What the schema says of a value."""
    schema = error.schema
    words = (schema.get("description") or schema.get("title")) if isinstance(schema, Mapping) else None
    return str(words).rstrip(".") if words else None


def _fault(error: ValidationError, path: Path, view: _View, code: str, message: str, **more: Any) -> Fault:
    fields = {"found": written(error.instance), "allowed": _meant(error), **more}
    return Fault(code=code, message=message, path=path, place=view.locate(path), **fields)


def _type(error: ValidationError, path: Path, view: _View) -> Iterator[Fault]:
    value = error.validator_value
    yield _wrong_type(error, path, view, [value] if isinstance(value, str) else list(value))


def _wrong_type(error: ValidationError, path: Path, view: _View, types: Sequence[str]) -> Fault:
    words = one_of([TYPES.get(name, name) for name in dict.fromkeys(types)])
    single = "array" in types and isinstance(error.instance, dict)
    notes = (f"One table of an array is written with double brackets: [[{dotted(path)}]].",) if single else ()
    return _fault(error, path, view, "wrong-type", f"this must be {words}", allowed=_allowed(words, error), notes=notes)


def _allowed(words: str, error: ValidationError) -> str:
    meant = _meant(error)
    return f"{words}: {meant}" if meant else words


def _enum(error: ValidationError, path: Path, view: _View) -> Iterator[Fault]:
    values = error.validator_value if error.validator == "enum" else [error.validator_value]
    texts = [value for value in values if isinstance(value, str)]
    near = nearest(error.instance, texts) if isinstance(error.instance, str) else None
    plain = [value if isinstance(value, str) and value else written(value) for value in values]
    message = "this is not one of the values that may stand here"
    yield _fault(error, path, view, "unknown-value", message, allowed=one_of(plain), nearest=near)


def _pattern_missed(error: ValidationError, path: Path, view: _View) -> Iterator[Fault]:
    text = error.instance
    if any(ord(character) < 32 or ord(character) == 127 for character in text):
        message = "control characters and line breaks cannot stand here"
        yield _fault(error, path, view, "control-character", message)
        return
    near = next((t for t in _respelt(text) if _pattern(error.validator_value).search(t)), None)
    yield _fault(error, path, view, "malformed", "this is not written as it has to be", nearest=near)


def _respelt(text: str) -> Iterator[str]:
    """Other spellings of a short text that people often mean."""
    if len(text) <= 100:
        bare = text.strip()
        hyphened = re.sub(r"[_\s]+", "-", bare)
        yield from (bare, bare.lower(), hyphened, hyphened.lower(), bare.upper())


_LIMITS = {
    "minLength": ("too-short", "this text is too short", "at least {} character{}"),
    "maxLength": ("too-long", "this text is too long", "at most {} character{}"),
    "minItems": ("too-few", "too few elements stand here", "at least {}"),
    "maxItems": ("too-many", "too many elements stand here", "at most {}"),
    "minimum": ("number-too-small", "this number is too small", "at least {}"),
    "maximum": ("number-too-large", "this number is too large", "at most {}"),
}


def _limit(error: ValidationError, path: Path, view: _View) -> Iterator[Fault]:
    code, message, words = _LIMITS[str(error.validator)]
    limit = error.validator_value
    allowed = _allowed(words.format(limit, "" if limit == 1 else "s"), error)
    if error.instance == "" and limit == 1:
        code, message, allowed = "empty-text", "this text cannot be empty", _meant(error) or allowed
    found = f"{len(error.instance)} characters" if code == "too-long" else written(error.instance)
    yield _fault(error, path, view, code, message, allowed=allowed, found=found)


def _unique(error: ValidationError, path: Path, view: _View) -> Iterator[Fault]:
    seen: set[str] = set()
    for index, item in enumerate(error.instance):
        known = len(seen)
        seen.add(json.dumps(item, sort_keys=True, default=str))
        if len(seen) == known:
            place, here = view.locate((*path, index)), (*path, index)
            message = "this stands here twice"
            yield Fault(code="repeated-value", message=message, path=here, place=place, found=written(item))


# --- keys ------------------------------------------------------------------------------------------------------------


def _closed(error: ValidationError, path: Path, view: _View) -> Iterator[Fault]:
    """Keys that the schema does not know."""
    known = error.schema.get("properties", {})
    for key, value in error.instance.items():
        if key not in known:
            yield _stranger(key, value, known, path, view)


def _stranger(key: str, value: Any, known: Mapping[str, Any], path: Path, view: _View) -> Fault:
    table = isinstance(value, dict) or (isinstance(value, list) and any(isinstance(item, dict) for item in value))
    code, what, notes = "unknown-key", "key", tuple[str, ...]()
    if view.sections and not path and table:
        code, what, notes = "unknown-section", "section", (PLUGIN_HINT,)
    here = (*path, key)
    return Fault(
        code=code,
        message=f"there is no such {what}",
        path=here,
        place=view.locate(here, key=True),
        found=shown(key),
        allowed=one_of(list(known)) or None,
        nearest=nearest(key, known),
        notes=notes,
    )


PLUGIN_HINT = "The plugin that brings this section may not be installed; `bedplate steps` lists those that are."


def _required(error: ValidationError, path: Path, view: _View) -> Iterator[Fault]:
    for key in error.validator_value:
        if key not in error.instance:
            yield _missing(key, error.schema["properties"], path, view)


def _missing(key: str, known: Mapping[str, Any], path: Path, view: _View) -> Fault:
    schema = known[key]
    section = view.sections and not path and (schema.get("type") == "object" or "$ref" in schema)
    code, what = ("missing-section", f"the section [{key}]") if section else ("missing-key", f"the key {key}")
    here, allowed = (*path, key), str(schema.get("description", "")).rstrip(".") or None
    return Fault(code=code, message=f"{what} is missing", path=here, place=view.locate(here), allowed=allowed)


def _dependent(error: ValidationError, path: Path, view: _View) -> Iterator[Fault]:
    known = error.schema["properties"]
    for cause, keys in error.validator_value.items():
        for key in keys if cause in error.instance else ():
            if key not in error.instance:
                fault = _missing(key, known, path, view)
                yield evolve(fault, message=f"the key {key} is missing; {cause} needs it")


_KEYWORDS: Mapping[str, _Explain] = {
    "type": _type,
    "enum": _enum,
    "const": _enum,
    "pattern": _pattern_missed,
    "uniqueItems": _unique,
    "unevaluatedProperties": _closed,
    "required": _required,
    "dependentRequired": _dependent,
    **dict.fromkeys(_LIMITS, _limit),
}
