"""Rules about the schema, the model, and whether the two say the same."""

from __future__ import annotations

import ast
import importlib
import inspect
from collections.abc import Iterator, Mapping
from importlib.metadata import distributions
from typing import Any

import jsonschema  # type: ignore[import-untyped]

from bedplate.loading.plugin_errors import Origin
from bedplate.testing.subject import Subject


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


def schema_is_described(about: Subject) -> list[str]:
    """The section and every key have a title and a description, every free text a pattern."""
    return [] if about.missing else list(_table("the section", about.step.schema))


def _table(where: str, schema: Mapping[str, Any]) -> Iterator[str]:
    yield from _unsaid(where, schema)
    for name, inner in schema["properties"].items():
        yield from _value(f"{where}, {name}", inner)


def _unsaid(where: str, schema: Mapping[str, Any]) -> Iterator[str]:
    for word in ("title", "description"):
        if not str(schema.get(word, "")).strip():
            yield f"{where} has no {word}: editors and faults show it to the person who writes a spec"


def _value(where: str, schema: Mapping[str, Any]) -> Iterator[str]:
    if is_table(schema):
        yield from _table(where, schema)
        return
    yield from _unsaid(where, schema)
    value = schema.get("items", schema)
    if is_table(value):
        yield from _table(f"{where}, each", value)
    elif value.get("type") == "string" and not {"pattern", "enum", "const"} & set(value):
        yield f"{where} takes any text: leave out pattern=None, so that it is one line without control characters"


def is_table(schema: Mapping[str, Any]) -> bool:
    """Whether the schema is of a table."""
    return "properties" in schema


RULES = (step_is_installed, contract_is_a_number, schema_is_valid, schema_is_described)
