"""Rules about the schema, the model, and whether the two say the same."""

from __future__ import annotations

import ast
import importlib
import inspect
import types
import typing
from collections.abc import Iterable, Iterator, Mapping, Sequence
from importlib.metadata import distributions
from typing import Any, get_args, get_origin

import attrs
import jsonschema  # type: ignore[import-untyped]

from bedplate.loading.plugin_errors import Origin
from bedplate.testing.subject import Subject
from bedplate.units import Request, Size

CLOSING = ("unevaluatedProperties", "additionalProperties")
IN_PLACE = ("allOf", "anyOf", "oneOf")
FREE_TEXT = r"^[^\u0000-\u001f\u007f]*$"


def step_is_installed(about: Subject) -> list[str]:
    """The step can be found and used."""
    return [about.missing] if about.missing else list(_lies_about(about.registry.steps[about.section].origin))


def _lies_about(origin: Origin) -> Iterator[str]:
    """A source folder that Python stumbles over is no installation: with another working folder it is gone."""
    found = list(distributions(name=origin.distribution))
    installed = any(one.read_text("RECORD") or one.read_text("INSTALLER") for one in found)
    if not installed and any(one.read_text("SOURCES.txt") for one in found):
        yield (
            f"{origin.distribution} is only found because its .egg-info lies in this folder: install it, "
            "python -m pip install --editable ."
        )


def contract_is_a_number(about: Subject) -> list[str]:
    """The plugin says with a number of its own which contract it was written for."""
    module = "" if about.missing else about.registry.steps[about.section].origin.module
    if not module:
        return []
    tree = ast.parse(inspect.getsource(importlib.import_module(module)))
    said = [
        node.value
        for node in tree.body
        if isinstance(node, ast.Assign) and "bedplate_contract" in {ast.unparse(one) for one in node.targets}
    ]
    return [
        f"bedplate_contract is {ast.unparse(value)}: write the number, which stays what it is when Bedplate gets a "
        "newer contract"
        for value in said
        if not isinstance(value, ast.Constant)
    ]


def schema_is_valid(about: Subject) -> list[str]:
    """The schema keeps the meta-schema of JSON Schema draft 2020-12."""
    if about.missing:
        return []
    try:
        jsonschema.Draft202012Validator.check_schema(dict(about.step.schema))
    except jsonschema.SchemaError as error:
        return [f"the schema is none at {error.json_path}: {error.message}"]
    return []


def schema_is_closed_and_described(about: Subject) -> list[str]:
    """Every object is closed, every property has a title and a description, every free text a pattern."""
    if about.missing:
        return []
    schema = dict(about.step.schema)
    return [*_object("the section", schema, schema), *(_unsaid("the section", schema))]


def _unsaid(where: str, schema: Mapping[str, Any]) -> Iterator[str]:
    for word in ("title", "description"):
        if not str(schema.get(word, "")).strip():
            yield f"{where} has no {word}: editors and faults show it to the person who writes a spec"


def _object(where: str, schema: Mapping[str, Any], root: Mapping[str, Any]) -> Iterator[str]:
    if all(schema.get(key) is not False for key in CLOSING):
        yield f'{where} is open: add "unevaluatedProperties": false, so that a misspelt key is a fault'
    for name, inner in properties(schema, root).items():
        yield from _property(f"{where}, {name}", inner, root)


def _property(where: str, schema: Mapping[str, Any], root: Mapping[str, Any]) -> Iterator[str]:
    yield from _unsaid(where, schema)
    yield from _value(where, resolved(schema, root), root)


def _value(where: str, schema: Mapping[str, Any], root: Mapping[str, Any]) -> Iterator[str]:
    if is_table(schema):
        yield from _object(where, schema, root)
    elif "items" in schema:
        yield from _value(f"{where}, each", resolved(schema["items"], root), root)
    elif schema.get("type") == "string" and not {"pattern", "enum", "const", "format", "$ref"} & set(schema):
        yield f"{where} takes any text: add a pattern, at least {FREE_TEXT} (one line, no control characters)"


def resolved(schema: Mapping[str, Any], root: Mapping[str, Any]) -> Mapping[str, Any]:
    """The schema with its own reference, if it has one, followed."""
    found = schema
    while "$ref" in found:
        inner: Any = root
        for part in str(found["$ref"]).removeprefix("#").strip("/").split("/"):
            inner = inner[part.replace("~1", "/").replace("~0", "~")] if part else inner
        found = {**inner, **{key: value for key, value in found.items() if key != "$ref"}}
    return found


def properties(schema: Mapping[str, Any], root: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    """Properties of an object, those that only its branches have included."""
    found: dict[str, Mapping[str, Any]] = {}
    branches = [branch for key in IN_PLACE for branch in schema.get(key, ())]
    for branch in branches:
        found.update(properties(resolved(branch, root), root))
    return {**found, **schema.get("properties", {})}


def is_table(schema: Mapping[str, Any]) -> bool:
    """Whether the schema is of an object."""
    return schema.get("type") == "object" or "properties" in schema


# --- the model -------------------------------------------------------------------------------------------------------


def model_and_schema_agree(about: Subject) -> list[str]:
    """The model's fields are the schema's properties, of the same kinds, with the same defaults."""
    if about.missing:
        return []
    schema = dict(about.step.schema)
    return list(_agree("the section", about.step.model, schema, schema))


def _agree(where: str, model: type[Any], schema: Mapping[str, Any], root: Mapping[str, Any]) -> Iterator[str]:
    try:
        hints = typing.get_type_hints(model)
    except NameError as error:
        yield f"the types of {model.__name__} cannot be told: {error}; import them at the module's top"
        return
    known, fields = properties(schema, root), {one.name: one for one in attrs.fields(model)}
    for name in sorted(set(known) - set(fields)):
        yield f"{where}: the schema has {name}, and {model.__name__} has no such field"
    for name in sorted(set(fields) - set(known)):
        yield f"{where}: {model.__name__} has the field {name}, and the schema has no such property"
    for name in (name for name in fields if name in known):
        inner = resolved(known[name], root)
        if fields[name].default is attrs.NOTHING and name not in schema.get("required", ()):
            yield f"{where}: {name} has no default in {model.__name__}, so the schema must require it"
        if "default" in inner and fields[name].default not in (inner["default"], _frozen(inner["default"])):
            yield f"{where}: the default of {name} is {inner['default']!r} in the schema and another in the model"
        yield from _kinds(f"{where}, {name}", hints[name], inner, root)


def _frozen(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


_JSON = {str: "string", bool: "boolean", int: "integer", float: "number", Size: "string"}


def _kinds(where: str, hint: Any, schema: Mapping[str, Any], root: Mapping[str, Any]) -> Iterator[str]:
    bare = _without_none(hint)
    if attrs.has(get_origin(bare) or bare) and bare is not Size:
        if is_table(schema):
            yield from _agree(where, bare, schema, root)
        else:
            yield f"{where} is a table in the model and none in the schema"
        return
    if get_origin(bare) is tuple:
        if "items" in schema:
            yield from _kinds(f"{where}, each", get_args(bare)[0], resolved(schema["items"], root), root)
        else:
            yield f"{where} is an array in the model, and the schema says nothing of its items"
        return
    wanted = "string" if bare == Request else _JSON.get(bare)
    if bare in (list, set, dict) or get_origin(bare) in (list, set, dict, Sequence, Iterable, Mapping):
        yield f"{where} is of type {bare}, which can be changed: arrays are tuple[X, ...], tables attrs classes"
    elif wanted is None:
        yield f"{where} is of type {bare}; a field is text, a number, true or false, a size, an array or a table"
    elif not set(_types(schema)) <= {wanted}:
        yield f"{where} is {wanted} in the model, and {' or '.join(_types(schema))} in the schema"


def _without_none(hint: Any) -> Any:
    if hint == Request or get_origin(hint) not in (typing.Union, types.UnionType):
        return hint
    rest = [each for each in get_args(hint) if each is not type(None)]
    whole: Any = rest[0]
    for each in rest[1:]:
        whole = whole | each
    return whole


def _types(schema: Mapping[str, Any]) -> list[str]:
    """The types a schema lets through, as far as it says."""
    said = schema.get("type", [])
    names = {str: "string", bool: "boolean", int: "integer", float: "number"}
    given = [said] if isinstance(said, str) else list(said)
    return given or sorted({names.get(type(value), "other") for value in schema.get("enum", [])})


def sections_are_frozen(about: Subject) -> list[str]:
    """Neither the section nor anything in it can be changed after it was checked."""
    found: list[str] = []
    for _, outcome in about.outcomes:
        if outcome.checked is not None and about.section in outcome.checked.spec.sections:
            found.extend(_changeable(outcome.checked.spec.sections[about.section]))
    return list(dict.fromkeys(found))


def _changeable(value: object) -> Iterator[str]:
    kind: type[Any] = type(value)
    if attrs.has(kind):
        first = next(iter(attrs.fields(kind)), None)
        if first is not None and _can_set(value, first.name):
            yield f"{kind.__name__} can be changed: make it with attrs.frozen(kw_only=True)"
        for one in attrs.fields(kind):
            yield from _changeable(getattr(value, one.name))
    elif isinstance(value, tuple):
        for item in value:
            yield from _changeable(item)
    elif isinstance(value, list | dict | set):
        yield f"a {kind.__name__} can be changed: arrays are tuple[X, ...], tables are attrs classes"


def _can_set(value: object, name: str) -> bool:
    try:
        setattr(value, name, getattr(value, name))
    except attrs.exceptions.FrozenInstanceError:
        return False
    return True


RULES = (
    step_is_installed,
    contract_is_a_number,
    schema_is_valid,
    schema_is_closed_and_described,
    model_and_schema_agree,
    sections_are_frozen,
)
