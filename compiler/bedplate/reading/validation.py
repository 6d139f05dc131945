"""Checking: a document becomes a `Spec` or faults. No unchecked spec can exist, since only this module makes one.

Enters: a document and the installed steps. Leaves: the frame and one typed section per step, or every fault of the
document at once, each with its place. The composed schema is JSON Schema draft 2020-12.

jsonschema-rs says quickly whether a document holds; only if it does not, jsonschema is loaded to tell why.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from functools import lru_cache
from typing import Any, TypeVar

from attrs import frozen
from jsonschema_rs import Draft202012Validator

from bedplate.faults import Fault, Path, Rejected, ordered, reject
from bedplate.hookspecs import Step
from bedplate.reading.document import Document
from bedplate.reading.structuring import structure_faults, structured
from bedplate.schema import document as schema_document
from bedplate.schema import json_schema
from bedplate.spec import Frame, Machine, Spec
from bedplate.survey import Survey

T = TypeVar("T")


def compose_schema(steps: Mapping[str, Step]) -> dict[str, Any]:
    """The schema of a whole spec: the frame and the section of each step, closed."""
    schemas = {name: step.schema for name, step in steps.items()}
    frame = json_schema(Frame)
    frame["properties"] |= {name: _reference(name, schema) for name, schema in schemas.items()}
    frame["required"] += [name for name, step in steps.items() if step.required]
    return schema_document("spec", {**frame, "$defs": schemas})


def _reference(name: str, schema: Mapping[str, Any]) -> dict[str, Any]:
    """Title and description stand beside the reference, where every editor looks for them."""
    words = {key: schema[key] for key in ("title", "description") if key in schema}
    return {**words, "$ref": f"#/$defs/{name}"}


# --- documents -------------------------------------------------------------------------------------------------------


def validate_spec(document: Document, steps: Mapping[str, Step]) -> Spec:
    """The checked spec, its sections in the order of the document. Raises Rejected with every fault."""
    _refuse_survey(document)
    parts = _parts(document, steps)
    values = _typed(document, _spec_judge(tuple(steps.items())), list(parts.values()), spec=True)
    sections = dict(zip(parts, values, strict=True))
    machine = sections.pop("machine")
    return Spec(machine=machine, sections=sections)


def sound_part(document: Document, steps: Mapping[str, Step], faults: Iterable[Fault]) -> Spec | None:
    """The frame and those sections that none of `faults` (all that `check` found) lies in; None without the frame, or
    where a fault is one of the whole document."""
    paths = [fault.path for fault in faults]
    if () in paths:
        return None
    spoilt = {path[0] for path in paths}
    sound = {name: part for name, part in _parts(document, steps).items() if name not in spoilt}
    sections = {name: structured(data, model) for name, (_, data, model) in sound.items()}
    machine = sections.pop("machine", None)
    return None if machine is None else Spec(machine=machine, sections=sections)


def _parts(document: Document, steps: Mapping[str, Step]) -> dict[str, _Part]:
    """The frame's table and each section, by name, in the order of the document."""
    models: dict[str, type[Any]] = {"machine": Machine, **{name: step.model for name, step in steps.items()}}
    return {name: ((name,), data, models[name]) for name, data in document.data.items() if name in models}


def _refuse_survey(document: Document) -> None:
    if _is_survey(document):
        message = "this is a survey, not a spec"
        note = "`bedplate draft` makes a first spec from it."
        raise reject("not-a-spec", message, place=document.place(()), allowed="a spec that names it", notes=(note,))


def _is_survey(document: Document) -> bool:
    """Whether the document has the tables only a survey has, and a spec has none by these names."""
    return isinstance(document.data.get("disks"), list) and isinstance(document.data.get("firmware"), dict)


def structure_survey(document: Document) -> Survey:
    """The checked survey. Raises Rejected with every fault."""
    if isinstance(document.data.get("disk"), dict):
        message = "this is a spec, not a survey"
        raise reject("not-a-survey", message, place=document.place(()), allowed="what `bedplate survey` wrote")
    survey: Survey
    [survey] = _typed(document, _survey_judge(), [((), document.data, Survey)], spec=False)
    return survey


_Part = tuple[Path, Any, type[Any]]
"""Path of a part of a document, its data, and what it becomes."""


@frozen(kw_only=True, eq=False)
class _Judge:
    """A schema and its compiled form."""

    schema: dict[str, Any]
    compiled: Draft202012Validator

    def holds(self, data: Any) -> bool:
        try:
            return self.compiled.is_valid(data)
        except ValueError:
            return False  # TOML has dates, JSON has none


@lru_cache(maxsize=8)
def _spec_judge(steps: tuple[tuple[str, Step], ...]) -> _Judge:
    return _judge(compose_schema(dict(steps)))


def unreadable(steps: Mapping[str, Step]) -> dict[str, str]:
    """Why a section's schema cannot be read as a part of a spec's, by section; empty if all can."""
    try:
        _spec_judge(tuple(steps.items()))
    except ValueError:
        alone = {section: _schema_trouble(section, step) for section, step in steps.items()}
        return {section: reason for section, reason in alone.items() if reason}
    return {}


def _schema_trouble(section: str, step: Step) -> str:
    try:
        _judge(compose_schema({section: step}))
    except ValueError as error:
        return f"its schema of [{section}] is none: {str(error).splitlines()[0]}"
    return ""


@lru_cache(maxsize=1)
def _survey_judge() -> _Judge:
    return _judge(json_schema(Survey))


def _judge(schema: dict[str, Any]) -> _Judge:
    return _Judge(schema=schema, compiled=Draft202012Validator(schema))


def _typed(document: Document, judge: _Judge, parts: list[_Part], *, spec: bool) -> list[Any]:
    """The parts as their models. What exactly is wrong is looked for only where something is."""
    if judge.holds(document.data):
        with suppress(Exception):
            return [structured(data, model) for _, data, model in parts]
    faults = _joined(_schema_faults(document, judge, spec), list(_type_faults(document, parts)))
    if faults:
        raise Rejected(ordered(faults))
    return [structured(data, model) for _, data, model in parts]


def _schema_faults(document: Document, judge: _Judge, spec: bool) -> list[Fault]:
    from bedplate.reading.schema_errors import schema_faults

    return schema_faults(judge.schema, document.data, document.place, sections=spec)


def _type_faults(document: Document, parts: list[_Part]) -> Iterator[Fault]:
    for path, data, model in parts:
        for fault in structure_faults(data, model):
            here = fault.under(*path)
            yield here.at(document.place(here.path, key=here.code == "unknown-key"))


def _joined(schema: list[Fault], types: list[Fault]) -> list[Fault]:
    """Faults of both kinds, one for each thing wrong: in one table the schema knows more, save for sizes."""
    sizes = {fault.path for fault in types if fault.code == "bad-size"}
    kept = [fault for fault in schema if not (fault.code == "malformed" and fault.path in sizes)]
    paths, tables = {fault.path for fault in kept}, {fault.path[:1] for fault in schema}
    return kept + [
        fault
        for fault in types
        if fault.path[:1] not in tables or (fault.code == "bad-size" and fault.path not in paths)
    ]
