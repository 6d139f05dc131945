"""A table described once: the schema that follows from its class, and that class and schema take the same.

Keywords: JSON Schema draft 2020-12, https://json-schema.org/draft/2020-12/json-schema-validation. The judge of what a
schema takes is jsonschema, the judge of what a class takes is cattrs.
"""

from __future__ import annotations

from typing import Any, Literal

import jsonschema
import pytest
from attrs import frozen
from hypothesis import example, given
from hypothesis import strategies as st

from bedplate.reading.structuring import structure_faults
from bedplate.schema import ONE_LINE, Keywords, is_table, json_schema, key, table
from bedplate.units import REQUEST_PATTERN, SIZE_PATTERN, Request, Size

SHORT = Keywords(maxLength=3, pattern="^[a-z]*$")


@table(title="The lamp", dependentRequired={"dim": ("hours",)})
class Lamp:
    """What shines,
    and for how long."""

    hours: int | None = key("Hours of light.", minimum=1, maximum=16, default=None)
    dim: bool = key("Whether it can be dimmed.", default=False)


@table
class TideBuoy:
    """A buoy."""

    name: str = key("Its name.", SHORT, maxLength=20)
    colour: Literal["red", "green", ""] = key("Its colour.", default="")
    wait_ms: Literal[10, 20] = key("Pause.", title="Pause", default=10)
    size: Request = key("Its share.")
    least: Size | None = key("At least.", default=None)
    text: str = key("Any text.", pattern=None, default="")
    marks: tuple[str, ...] = key("Its marks.", uniqueItems=True, items=SHORT, default=())
    crew: tuple[Lamp, ...] = key("Its lamps.", minItems=1, default=())
    lamp: Lamp | None = None
    format: int = key("A version.", const=1, required=True, default=1)


LAMP = {
    "title": "The lamp",
    "description": "What shines, and for how long.",
    "type": "object",
    "properties": {
        "hours": {"title": "Hours", "description": "Hours of light.", "type": "integer", "minimum": 1, "maximum": 16},
        "dim": {"title": "Dim", "description": "Whether it can be dimmed.", "type": "boolean", "default": False},
    },
    "required": [],
    "unevaluatedProperties": False,
    "dependentRequired": {"dim": ["hours"]},
}
PROPERTIES: dict[str, Any] = {
    "name": {"title": "Name", "description": "Its name.", "type": "string", "pattern": "^[a-z]*$", "maxLength": 20},
    "colour": {"title": "Colour", "description": "Its colour.", "type": "string", "enum": ["red", "green"]},
    "wait_ms": {"title": "Pause", "description": "Pause.", "type": "integer", "enum": [10, 20], "default": 10},
    "size": {"title": "Size", "description": "Its share.", "type": "string", "pattern": REQUEST_PATTERN},
    "least": {"title": "Least", "description": "At least.", "type": "string", "pattern": SIZE_PATTERN},
    "text": {"title": "Text", "description": "Any text.", "type": "string"},
    "marks": {
        "title": "Marks",
        "description": "Its marks.",
        "type": "array",
        "items": {"type": "string", "pattern": "^[a-z]*$", "maxLength": 3},
        "uniqueItems": True,
        "default": [],
    },
    "crew": {"title": "Crew", "description": "Its lamps.", "type": "array", "items": LAMP, "minItems": 1},
    "lamp": LAMP,
    "format": {"title": "Format", "description": "A version.", "type": "integer", "const": 1},
}


@pytest.mark.parametrize("name", PROPERTIES)
def test_each_kind_of_field_has_its_schema(name: str) -> None:
    assert json_schema(TideBuoy)["properties"][name] == PROPERTIES[name]


def test_a_table_is_closed_and_asks_for_what_has_no_default() -> None:
    whole = json_schema(TideBuoy)
    jsonschema.Draft202012Validator.check_schema(whole)
    assert list(whole["properties"]) == list(PROPERTIES)
    assert whole["required"] == ["name", "size", "format"] and whole["unevaluatedProperties"] is False
    assert (whole["title"], whole["description"]) == ("Tide buoy", "A buoy.")


def test_a_text_is_one_line_unless_it_says_otherwise() -> None:
    @table
    class Bare:
        """Bare."""

        note: str = key("A note.")

    assert json_schema(Bare)["properties"]["note"]["pattern"] == ONE_LINE
    judge = jsonschema.Draft202012Validator(json_schema(Bare))
    assert judge.is_valid({"note": "one line"})
    assert not any(judge.is_valid({"note": f"a{chr(code)}b"}) for code in (*range(32), 127))


@frozen
class NoTable:
    """An attrs class that nobody has described."""


@pytest.mark.parametrize("kind", [list[str], dict[str, str], set[int], tuple[int, int], bytes, NoTable, object])
def test_what_no_toml_can_fill_is_refused(kind: Any) -> None:
    made = table(type("Odd", (), {"__annotations__": {"thing": kind}, "thing": key("A thing."), "__doc__": "Odd."}))
    assert is_table(made) and not is_table(NoTable)
    with pytest.raises(TypeError, match=r"Odd\.thing is of type"):
        json_schema(made)


# --- class and schema take the same ----------------------------------------------------------------------------------


@table
class Inner:
    """Inner."""

    flag: bool = key("A flag.")
    more: int | None = key("A number.", default=None)


@table
class Outer:
    """Outer."""

    word: Literal["red", "green"] = key("A word.")
    text: str = key("A text.", pattern=None, default="")
    numbers: tuple[int, ...] = key("Numbers.", default=())
    inner: Inner | None = None
    inners: tuple[Inner, ...] = key("Several.", default=())


_leaf = st.booleans() | st.integers(-1, 3) | st.sampled_from(["red", "green", "", "x"])
_any = st.recursive(
    _leaf,
    lambda inner: (
        st.lists(inner, max_size=2) | st.dictionaries(st.sampled_from(["flag", "more", "word"]), inner, max_size=2)
    ),
)
_good_inner = st.fixed_dictionaries({"flag": st.booleans()}, optional={"more": st.integers(0, 9), "other": _leaf})
_mixed = st.fixed_dictionaries(
    {},
    optional={
        "word": st.sampled_from(["red", "green", "blue", 1]),
        "text": _leaf,
        "numbers": st.lists(st.integers(0, 3) | _leaf, max_size=2),
        "inner": _good_inner | _any,
        "inners": st.lists(_good_inner, max_size=2) | _any,
        "other": _leaf,
    },
)


@given(_mixed)
@example({"word": "red", "inners": {}})
@example({"word": "red", "numbers": ""})
def test_law_a_class_takes_what_its_schema_takes(data: dict[str, Any]) -> None:
    assert jsonschema.Draft202012Validator(json_schema(Outer)).is_valid(data) == (not structure_faults(data, Outer))
