"""Checking: the composed schema, and one fault in our words for each thing wrong.

Keywords: JSON Schema draft 2020-12, https://json-schema.org/draft/2020-12/json-schema-validation (section numbers
beside the cases). Patterns: the dialect of ECMA-262, https://json-schema.org/draft/2020-12/json-schema-core#section-6.4.
"""

from __future__ import annotations

from typing import Any, Literal

import jsonschema
import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

import bedplate_schema
from bedplate.faults import Fault, Rejected, describe, dotted
from bedplate.hookspecs import Step
from bedplate.loading import registry
from bedplate.reading import schema_errors
from bedplate.reading.document import parse
from bedplate.reading.schema_errors import schema_faults
from bedplate.reading.validation import compose_schema, structure_survey, unreadable, validate_spec
from bedplate.schema import Keywords, key, table
from bedplate.spec import Machine, Spec
from bedplate.units import GIB, Request, Rest, Size

# --- a small step --------------------------------------------------------------------------------------------------


@table
class Shelf:
    """One shelf."""

    name: str = key("Lower-case letters and hyphens.", pattern="^[a-z-]+$")
    size: Request = key("Room to take.", pattern="^([0-9]+ ?[kKMGT]i?B|[0-9]+%|rest)$")
    least: Size | None = key("Smallest room.", pattern=None, default=None)


@table
class Cupboard:
    """Where things are kept."""

    material: Literal["oak", "pine"] = key("The wood.", default="oak")
    doors: int = key("How many.", minimum=0, maximum=8, default=0)
    shelves: tuple[Shelf, ...] = key("From below.", default=())

    @doors.validator
    def _even(self, _: Any, value: int) -> None:
        if value % 2:
            raise ValueError("doors come in pairs")


@table
class Unreadable:
    """A length is a number."""

    name: str = key("Its name.", minLength="one")


def step(section: str = "cupboard", model: type = Cupboard, required: bool = False) -> Step:
    return Step(section=section, title="t", model=model, emit=lambda _, __: (), required=required)


STEPS = {"cupboard": step()}
HEAD = 'format = 1\n[machine]\nname = "kelp-02"\n'


def checked(text: str, steps: dict[str, Step] = STEPS) -> Spec:
    return validate_spec(parse("a.toml", text.encode()), steps)


def faults_of(text: str, steps: dict[str, Step] = STEPS) -> tuple[Fault, ...]:
    with pytest.raises(Rejected) as caught:
        checked(text, steps)
    return caught.value.faults


def brief(faults: tuple[Fault, ...]) -> list[str]:
    """`line:column path code`, with the nearest spelling where there is one."""
    return [
        f"{fault.place and fault.place.line}:{fault.place and fault.place.column} {dotted(fault.path)} {fault.code}"
        + (f" ~{fault.nearest}" if fault.nearest else "")
        for fault in faults
    ]


# --- the composed schema ---------------------------------------------------------------------------------------------


def test_the_composed_schema_is_valid_against_the_meta_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(compose_schema(STEPS))


@pytest.mark.parametrize("name", ["frame", "survey"])
def test_the_published_schemas_are_valid_against_the_meta_schema(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(bedplate_schema.load(name))


def test_sections_stand_in_the_composed_schema_and_required_ones_are_asked_for() -> None:
    schema = compose_schema({"cupboard": step(required=True), "chest": step("chest")})
    assert schema["properties"]["cupboard"]["$ref"] == "#/$defs/cupboard"
    assert schema["properties"]["chest"]["title"] == "Cupboard"
    assert schema["$defs"]["chest"]["properties"]["shelves"]["items"]["required"] == ["name", "size"]
    assert schema["required"] == ["format", "machine", "cupboard"]
    assert schema["unevaluatedProperties"] is False


def _objects(schema: Any, name: str = "") -> list[tuple[str, dict[str, Any]]]:
    if isinstance(schema, list):
        return [found for item in schema for found in _objects(item, name)]
    if not isinstance(schema, dict):
        return []
    own = [(name, schema)] if "properties" in schema else []
    return own + [found for key, value in schema.items() for found in _objects(value, f"{name}/{key}")]


SECTIONS = ["base", "bootloader", "clock", "disk", "locale", "network", "users"]


def test_the_composed_schema_of_all_built_in_steps_is_valid_and_asks_for_them() -> None:
    schema = compose_schema({name: installed.step for name, installed in registry.load().steps.items()})
    jsonschema.Draft202012Validator.check_schema(schema)
    assert set(SECTIONS) <= set(schema["required"])
    assert all(schema["properties"][name].get("description") for name in SECTIONS)


@pytest.mark.parametrize("name", ["frame", "survey", *SECTIONS])
def test_published_schemas_are_closed_and_explain_every_property(name: str) -> None:
    objects = _objects(bedplate_schema.load(name))
    assert objects
    for where, schema in objects:
        if schema.get("type") == "object":
            assert schema["unevaluatedProperties"] is False, where
            for key, value in schema["properties"].items():
                assert value.get("title") and value.get("description"), f"{where}: {key}"


# --- a good spec -----------------------------------------------------------------------------------------------------


def test_a_good_spec_becomes_typed_sections_in_its_own_order() -> None:
    steps = {"cupboard": step(), "chest": step("chest")}
    shelf = '[[cupboard.shelves]]\nname = "low"\nsize = "2GiB"\n[[cupboard.shelves]]\nname = "top"\nsize = "rest"\n'
    spec = checked(HEAD + "generation = 2\n[chest]\n[cupboard]\n" + shelf, steps)
    assert spec.machine == Machine(name="kelp-02", generation=2)
    assert list(spec.sections) == ["chest", "cupboard"]
    low, top = spec.sections["cupboard"].shelves  # type: ignore[attr-defined]
    assert low.size == Size(2 * GIB, "2GiB") and top.size == Rest()


# --- one fault for each thing wrong ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", ["1:1 format missing-key", "1:1 machine missing-section"]),
        ("format = 2\n[machine]\nname = 'a'\n", ["1:10 format unknown-value"]),
        ("format = '1'\n[machine]\nname = 'a'\n", ["1:10 format wrong-type"]),
        ("format = 1\nmachine = 3\n", ["2:11 machine wrong-type"]),
        ("format = 1\n[machine]\nnaem = 'a'\n", ["3:1 machine.naem unknown-key ~name"]),
        ("format = 1\n[machine]\n", ["2:1 machine.name missing-key"]),
        ("format = 1\n[machine]\nname = 'Kelp_02'\n", ["3:8 machine.name malformed ~kelp-02"]),
        ('format = 1\n[machine]\nname = "kelp\\n"\n', ["3:8 machine.name control-character"]),
        (HEAD + 'notes = "a\\u0000b"\n', ["4:9 machine.notes control-character"]),
        (HEAD + "survey = ''\n", ["4:10 machine.survey empty-text"]),
        (HEAD + "generation = 0\n", ["4:14 machine.generation number-too-small"]),
        (HEAD + "generation = 1.0\n", ["4:14 machine.generation wrong-type"]),
        (HEAD + "generation = true\n", ["4:14 machine.generation wrong-type"]),
        (HEAD + "generation = 99999999999999999999\n", ["4:14 machine.generation number-too-large"]),
        (HEAD + "notes = 1979-05-27\n", ["4:9 machine.notes wrong-type"]),
        (HEAD + "notes = 07:32:00\n", ["4:9 machine.notes wrong-type"]),
        (HEAD + "architecture = 'amd46'\n", ["4:16 machine.architecture unknown-value ~amd64"]),
        (HEAD + "architecture = 64\n", ["4:16 machine.architecture wrong-type"]),
        (HEAD + "[cupbord]\n", ["4:2 cupbord unknown-section ~cupboard"]),
        (HEAD + "[[luks]]\n", ["4:3 luks unknown-section"]),
        ("stray = 1\n" + HEAD, ["1:1 stray unknown-key"]),
        (HEAD + "[cupboard]\ndoors = 9\n", ["5:9 cupboard.doors number-too-large"]),
        (HEAD + "[cupboard]\ndoors = 3\n", ["4:1 cupboard bad-value"]),
        (HEAD + "[cupboard]\nshelves = {}\n", ["5:11 cupboard.shelves wrong-type"]),
        (
            HEAD + "[[cupboard.shelves]]\nname = 'A'\nsize = '1 gib'\n",
            ["5:8 cupboard.shelves[0].name malformed ~a", "6:8 cupboard.shelves[0].size bad-size ~1GiB"],
        ),
        (
            HEAD + "[[cupboard.shelves]]\nname = 'a'\nsize = '1GiB'\nleast = '5'\n",
            ["7:9 cupboard.shelves[0].least bad-size"],
        ),
        (
            HEAD + "[[cupboard.shelves]]\nname = 'a'\nsize = '1GiB'\nleast = '50%'\n",
            ["7:9 cupboard.shelves[0].least bad-size"],
        ),
        (HEAD + "[[cupboard.shelves]]\nname = 'a'\nsize = 5\n", ["6:8 cupboard.shelves[0].size wrong-type"]),
    ],
)
def test_each_mistake_gives_one_fault_with_its_place(text: str, expected: list[str]) -> None:
    assert brief(faults_of(text or "[x]\n")) == (expected if text else [*expected, "1:2 x unknown-section"])


def test_a_fault_says_what_was_found_and_what_is_allowed() -> None:
    [fault] = faults_of(HEAD + "architecture = 'amd46'\n")
    assert describe(fault).split("\n") == [
        "a.toml:4:16: machine.architecture: this is not one of the values that may stand here [unknown-value]",
        '    found:   "amd46"',
        "    allowed: amd64 or arm64",
        "    nearest: amd64",
    ]


def test_a_missing_plugin_is_hinted_at() -> None:
    [fault] = faults_of(HEAD + "[luks]\nlevel = 2\n")
    assert "bedplate steps" in fault.notes[0]


def test_a_required_section_is_missed() -> None:
    assert brief(faults_of(HEAD, {"cupboard": step(required=True)})) == ["1:1 cupboard missing-section"]


def test_a_plugin_whose_schema_is_none_is_named() -> None:
    told = unreadable({"chest": step("chest"), "cupboard": step(model=Unreadable)})
    assert list(told) == ["cupboard"] and "one" in told["cupboard"]
    assert unreadable(STEPS) == {}


def test_a_survey_that_is_none_gives_faults_of_its_own_file() -> None:
    with pytest.raises(Rejected) as caught:
        structure_survey(parse("a.survey.toml", b"format = 1\nmachine = 4\n[luks]\n"))
    assert brief(caught.value.faults) == ["2:11 machine wrong-type", "3:2 luks unknown-key ~links"]


# --- keywords, in our words ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("schema", "value", "expected"),
    [
        ({"minLength": 3}, "ab", ["v too-short"]),  # 6.3.2
        ({"maxLength": 3}, "abcd", ["v too-long"]),  # 6.3.1
        ({"minItems": 2}, [1], ["v too-few"]),  # 6.4.2
        ({"maxItems": 1}, [1, 2], ["v too-many"]),  # 6.4.1
        ({"uniqueItems": True}, ["a", "b", "a"], ["v[2] repeated-value"]),  # 6.4.3
        ({"properties": {"a": {}, "b": {}}, "dependentRequired": {"a": ["b"]}}, {"a": 1}, ["v.b missing-key"]),  # 6.5.4
        ({"type": ["string", "boolean"]}, 3, ["v wrong-type"]),  # 6.1.1
        ({"unevaluatedProperties": False, "properties": {"alpha": {}}}, {"alhpa": 1}, ["v.alhpa unknown-key ~alpha"]),
        ({"minimum": 1}, 0, ["v number-too-small"]),  # 6.2.4
        ({"maximum": 9}, 10, ["v number-too-large"]),  # 6.2.2
    ],
)
def test_every_keyword_has_words_of_its_own(schema: dict[str, Any], value: Any, expected: list[str]) -> None:
    document = parse("a.toml", tomli_w.dumps({"v": value}).encode())
    whole = {"type": "object", "properties": {"v": schema}}
    faults = schema_faults(whole, document.data, document.place)
    assert [f"{dotted(f.path)} {f.code}" + (f" ~{f.nearest}" if f.nearest else "") for f in faults] == expected
    assert all(fault.message and fault.place and fault.place.line for fault in faults)


def test_no_keyword_is_without_words() -> None:
    words_alone, of_types = {"title", "description", "examples", "items"}, {"type", "required", "unevaluatedProperties"}
    assert Keywords.__annotations__.keys() - words_alone == schema_errors._KEYWORDS.keys() - of_types


@pytest.mark.parametrize("text", ["kelp\n", "kelp-٣", "kelp-02\n"])
def test_patterns_mean_what_ecma_says_not_what_python_says(text: str) -> None:
    """Python's `$` lets a line break follow and its classes take digits of every script; ECMA-262's do neither."""
    for pattern in ("^[a-z]+$", r"^kelp-\d+$", r"^[\w-]+$"):
        data = parse("a.toml", tomli_w.dumps({"v": text}).encode())
        schema = {"properties": {"v": {"type": "string", "pattern": pattern}}}
        assert schema_faults(schema, data.data, data.place), pattern


# --- laws ------------------------------------------------------------------------------------------------------------

_leaf = st.none() | st.booleans() | st.integers(-2, 12) | st.sampled_from(["oak", "a", "A", "", "1GiB", "x\n", "rest"])
_words = st.sampled_from(["material", "doors", "shelves", "name", "size", "least", "other", "kelp"])
_any = st.recursive(_leaf, lambda inner: st.lists(inner, max_size=2) | st.dictionaries(_words, inner, max_size=3))


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_none(item) for key, item in value.items() if item is not None}
    return [_without_none(item) for item in value if item is not None] if isinstance(value, list) else value


@given(st.dictionaries(st.sampled_from(["format", "machine", "cupboard", "luks"]), _any))
def test_law_a_spec_is_either_typed_or_rejected_with_placed_faults(data: dict[str, Any]) -> None:
    """Whatever the values, nothing but Rejected comes out, every fault has words and a place, none is told twice."""
    base = {"format": 1, "machine": {"name": "kelp-02"}}
    text = tomli_w.dumps({**base, **_without_none(data)})
    try:
        checked(text)
    except Rejected as rejected:
        faults = rejected.faults
        assert faults and len(set(faults)) == len(faults)
        assert all(fault.message and fault.place and fault.place.line for fault in faults)
