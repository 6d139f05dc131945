"""Other valid sections, made from an example by changing one value at a time. Enters: a step under test. Leaves: the
machines that compile and whose actions differ from the example's.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import islice
from typing import Any

from jsonschema_rs import Draft202012Validator

from bedplate.testing.hostile_input import places, put, spoilt
from bedplate.testing.subject import Host, Outcome, Subject, compiled

LIMIT = 12
"""How many variants are looked at, at most."""


def variants(about: Subject) -> list[tuple[Host, Outcome, str]]:
    """At most `LIMIT` variants, each with what was changed. The same for the same step and examples."""
    if about.missing:
        return []
    kept: list[tuple[Host, Outcome, str]] | None = about.__dict__.get("variants")
    if kept is None:
        kept = about.__dict__["variants"] = list(islice(_variants(about), LIMIT))
    return kept


def _variants(about: Subject) -> Iterator[tuple[Host, Outcome, str]]:
    schema = dict(about.step.schema)
    judge = Draft202012Validator(schema)
    for host, graph in about.graphs:
        section = host.data[about.section]
        for path, inner in places(section, schema):
            changed = (put(section, path, value) for value in _others(_value(section, path), inner))
            for one in islice((one for one in changed if judge.is_valid(one)), 2):
                other = host.using("variant", {about.section: one})
                outcome = compiled(other, about.registry)
                if outcome.graph is not None and outcome.graph.digest != graph.digest:
                    yield other, outcome, f"{host.name} with another {'.'.join(map(str, path))}"
    for trial in spoilt(about):
        yield trial.host, trial.outcome, f"{trial.host.name} without {trial.where}"


def _value(section: Any, path: tuple[str | int, ...]) -> Any:
    for part in path:
        if isinstance(section, Mapping) and part not in section:
            return None
        section = section[part]
    return section


def _others(value: Any, schema: Mapping[str, Any]) -> Iterator[Any]:
    """Values like this one; whether the schema takes them is seen afterwards."""
    yield from (one for one in schema.get("enum", ()) if one != value)
    yield from (one for one in schema.get("examples", ()) if one != value)
    start = schema.get("default") if value is None else value
    if isinstance(start, bool) or schema.get("type") == "boolean":
        yield not start
    elif isinstance(start, int | float):
        yield from (start + 1, start - 1, start * 2)
    elif isinstance(start, str):
        yield from _texts(start)
    elif isinstance(start, list) and len(start) > 1:
        yield from (start[:-1], start[::-1])


def _texts(text: str) -> Iterator[str]:
    """A letter or figure changed, the last first; one more; one fewer."""
    for place in range(len(text) - 1, -1, -1):
        sign = text[place]
        if sign.isalnum() and sign.isascii():
            other = "1" if sign == "0" else "0" if sign.isdigit() else "b" if sign.lower() == "a" else "a"
            yield text[:place] + (other.upper() if sign.isupper() else other) + text[place + 1 :]
    yield from (text + "a", text + "1", text[:-1])
