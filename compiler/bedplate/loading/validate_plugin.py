"""Whether what a plugin brings may be used. Enters: a plugin's contract number, steps, extensions, renderings. Leaves:
the reason against it as a sentence, empty if there is none.

Only shapes are looked at here. Whether a schema is one, the checking of specs finds out; what actions are worth, the
plugin's own tests with `bedplate.testing`.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping

import attrs

from bedplate.hookspecs import CONTRACT, Extension, Renderer, Step
from bedplate.schema import is_table
from bedplate.spec import Frame

FRAME = frozenset(attrs.fields_dict(Frame))  # type: ignore[arg-type]
"""Top-level keys of a spec that belong to no step."""

_SECTION = re.compile(r"[a-z][a-z0-9_]*")
_NAME = re.compile(r"[a-z][a-z0-9_-]*")


def contract_trouble(plugin: object) -> tuple[str, str]:
    """Reason and remedy if the plugin was written for a contract that cannot be kept; two empty texts if not."""
    wanted = getattr(plugin, "bedplate_contract", None)
    if wanted is None:
        return "it does not say which contract it was written for", f"Its author adds bedplate_contract = {CONTRACT}."
    if type(wanted) is not int or wanted < 1:
        return f"bedplate_contract is a whole number from 1, not {wanted!r}", ""
    if wanted > CONTRACT:
        reason = f"it was written for contract {wanted}, and this Bedplate has {CONTRACT}"
        return reason, "Update Bedplate, or install an older version of the plugin."
    return "", ""


def step_trouble(step: Step) -> str:
    """Why this step cannot be used."""
    if not isinstance(step.section, str) or _SECTION.fullmatch(step.section) is None:
        return f"a section's name has lower-case letters, digits and underscores, a letter first: {step.section!r}"
    where = f"[{step.section}]"
    if step.section in FRAME:
        return f"{where} belongs to the frame of a spec"
    if not is_table(step.model):
        return f"the model of {where} is not made with bedplate.schema.table"
    if not isinstance(step.title, str) or not step.title.strip() or not step.title.isprintable():
        return f"the title of {where} must be one line of text"
    return _callable_trouble(step, where) or _schema_trouble(step, where)


def _callable_trouble(step: Step, where: str) -> str:
    for name in ("emit", "validate", "changes", "draft"):
        value = getattr(step, name)
        if not callable(value) and (value is not None or name == "emit"):
            return f"{name} of {where} is {_kind(value)}, it must be a function"
    if not isinstance(step.facts, Mapping):
        return f"facts of {where} must be a mapping from a type to a function"
    if not isinstance(step.concerns, tuple) or not all(isinstance(kind, type) for kind in step.concerns):
        return f"concerns of {where} must be a tuple of types"
    for kind, giver in step.facts.items():
        if not isinstance(kind, type) or not callable(giver):
            return f"facts of {where} must be a mapping from a type to a function"
    return ""


def _schema_trouble(step: Step, where: str) -> str:
    if not isinstance(step.points, Mapping) or not all(isinstance(kind, type) for kind in step.points.values()):
        return f"points of {where} must be a mapping from a property to a type"
    for key in step.points:
        if key not in attrs.fields_dict(step.model):
            return f"{where} opens the point {key}, and its model has no such field"
    try:
        _ = step.schema
    except TypeError as error:
        return f"the model of {where} cannot be filled: {error}"
    return ""


def extension_trouble(extension: Extension, points: Mapping[str, type], choices: Collection[tuple[str, str]]) -> str:
    """Why this extension cannot be used: `points` are all that steps open, `choices` all that any plugin brings for
    them, by point and name."""
    if extension.point not in points:
        return f"no step opens the point {extension.point!r}; there are {', '.join(sorted(points)) or 'none'}"
    if not isinstance(extension.name, str) or _NAME.fullmatch(extension.name) is None:
        return f"the name of an extension has lower-case letters, digits, - and _: {extension.name!r}"
    if (extension.point, extension.name) not in choices:
        wanted = points[extension.point].__name__
        return f"{extension.point} takes a {wanted}, and {extension.name!r} is {_kind(extension.value)}"
    if not attrs.has(type(extension.value)):
        return f"what {extension.name!r} says of a concern is an attrs value, and this is {_kind(extension.value)}"
    return ""


def renderer_trouble(renderer: Renderer) -> str:
    """Why this rendering cannot be used."""
    if not isinstance(renderer.name, str) or _NAME.fullmatch(renderer.name) is None:
        return f"the name of a rendering has lower-case letters, digits, - and _: {renderer.name!r}"
    if not callable(renderer.render):
        return f"render of the rendering {renderer.name} is {_kind(renderer.render)}, it must be a function"
    if not isinstance(renderer.suffix, str) or not renderer.suffix.startswith(".") or "/" in renderer.suffix:
        return f"the suffix of the rendering {renderer.name} must be a file name's end with its dot"
    return ""


def _kind(value: object) -> str:
    return f"of type {type(value).__name__}"
