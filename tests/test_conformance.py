"""Every built-in step keeps to the contract, nothing switched off; and the kit complains where it should."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import attrs
import pytest
from attrs import frozen

from bedplate import build, checks, pipeline
from bedplate.actions import NOTHING_TO_UNDO, Action, InTarget, Run, SecretRef, WayBack, WriteFile
from bedplate.blame import Origin
from bedplate.changes import Change, Cost
from bedplate.faults import Fault
from bedplate.hookspecs import Step, hookimpl
from bedplate.registry import assemble, load
from bedplate.testing import HOST, RULES, Host, Subject, conformance_tests

ROOT = Path(__file__).resolve().parent.parent
MACHINES = [Host.read(ROOT / "specs" / f"{name}.toml") for name in ("kelp-02", "limpet-01", "barnacle-05", "tern-04")]

test_base = conformance_tests("base", hosts=MACHINES)
test_bootloader = conformance_tests("bootloader", hosts=MACHINES)
test_clock = conformance_tests("clock", hosts=MACHINES)
test_disk = conformance_tests("disk", hosts=MACHINES)
test_locale = conformance_tests("locale", hosts=MACHINES)
test_network = conformance_tests("network", hosts=MACHINES)
test_users = conformance_tests("users", hosts=MACHINES)


# --- the kit complains where it should -------------------------------------------------------------------------------


@frozen(kw_only=True)
class Reed:
    name: str
    notes: str = ""


TEXT = {"title": "Text", "description": "Text.", "type": "string", "pattern": r"^[^\u0000-\u001f\u007f]*$"}
SCHEMA: dict[str, Any] = {
    "title": "Reed", "description": "Reed.", "type": "object", "unevaluatedProperties": False, "required": ["name"],
    "properties": {"name": {**TEXT, "pattern": "^[a-z]+$"}, "notes": TEXT},
}  # fmt: skip
WORDS: dict[str, Any] = {"title": "Do it", "reason": "So."}
DONE: dict[str, Any] = {"proofs": (checks.succeeds("It is", "test", "-e", InTarget("/x")),),
                        "way_back": WayBack(note="Nothing is left of it.")}  # fmt: skip
GOOD = build.write_file("reed.file", "/etc/reed", "reed\n", **WORDS)


def with_property(**changes: Any) -> dict[str, Any]:
    return {**SCHEMA, "properties": {**SCHEMA["properties"], "notes": {**TEXT, **changes}}}


def without_pattern() -> dict[str, Any]:
    return {**SCHEMA, "properties": {**SCHEMA["properties"], "notes": {**TEXT, "pattern": "^"}}}


@attrs.define(kw_only=True)
class Loose:
    name: str
    notes: str = ""


@frozen(kw_only=True)
class Other:
    name: int
    note: str = ""


def found(*, emit: Any = lambda section, context: [GOOD], **changes: Any) -> list[str]:
    """What the kit says of a small step with something changed."""

    class Plugin:
        bedplate_contract = 1

        @hookimpl
        def bedplate_steps(self) -> list[Step]:
            given = {"section": "reed", "title": "Reed", "schema": SCHEMA, "model": Reed, "emit": emit, **changes}
            return [Step(**given)]

    registry = assemble([(Origin(plugin="reed", distribution="saltmarsh-reed", version="2"), Plugin())])
    whole = attrs.evolve(load(), steps={**load().steps, **registry.steps})
    assert registry.steps
    host = HOST.using("example", Host.parse('[reed]\nname = "north"\nnotes = "sluice"\n'))
    about = Subject(section="reed", hosts=(host,), registry=pipeline.usable(whole))
    return [f"{rule.__name__}: {one}" for rule in RULES if rule.__name__ not in SLOW for one in rule(about)]


SLOW = ("scripts_are_clean", "every_process_gives_the_same_bytes")
"""Rules that run commands for seconds; the built-in steps and the example go through them."""


def emitting(*actions: Action) -> dict[str, Any]:
    return {"emit": lambda section, context: list(actions)}


def pasting(section: Reed, context: object) -> list[Action]:
    return [build.by_hand("reed.look", "Look.", f"echo {section.notes}", expected="It is there.", **WORDS)]


def optional(section: Reed, context: object) -> list[Action]:
    return [build.run("reed.x", "reed", section.notes, **WORDS, **DONE)]


def pathing(section: Reed, context: object) -> list[Action]:
    return [build.write_file("reed.file", f"/etc/{section.notes}", "x", **WORDS)]


def carrying(section: Reed, context: object) -> list[Action]:
    return [build.write_file("reed.file", "/etc/reed", section.notes, **WORDS)]


def crashing(section: Reed, context: object) -> list[Action]:
    assert section.notes, "no notes"
    return [GOOD]


def counting() -> Any:
    numbers = itertools.count()
    return lambda section, context: [build.write_file("reed.file", "/etc/reed", str(next(numbers)), **WORDS)]


def renamed(section: Reed, context: Any) -> list[Action]:
    return [build.write_file(f"reed.{context.machine.name}", "/etc/reed", "x", **WORDS)]


def faulting(section: Reed, context: object) -> Iterator[Fault]:
    if section.notes != "sluice":
        yield Fault(code="Bad Notes", message="bad", path=("notes",))


SHELL = Run(argv=("sh", "-c", "reed"))

COMPLAINTS: dict[str, tuple[dict[str, Any], str]] = {
    "open schema": ({"schema": {**SCHEMA, "unevaluatedProperties": True}}, 'is open: add "unevaluatedProperties"'),
    "no description": ({"schema": with_property(description="")}, "the section, notes has no description"),
    "any text": ({"schema": {**SCHEMA, "properties": {**SCHEMA["properties"], "notes": {
        key: value for key, value in TEXT.items() if key != "pattern"}}}}, "notes takes any text: add a pattern"),
    "schema is none": ({"schema": with_property(minLength="one")}, "its schema of [reed] is none"),
    "other fields": ({"model": Other}, "the schema has notes, and Other has no such field"),
    "other types": ({"model": Other}, "name is integer in the model, and string in the schema"),
    "other defaults": ({"schema": with_property(default="x")}, "the default of notes is 'x' in the schema"),
    "not frozen": ({"model": Loose}, "Loose can be changed: make it with attrs.frozen"),
    "nothing emitted": (emitting(), "no example makes the step emit an action"),
    "not repeatable": ({"emit": counting()}, "emission_is_repeatable"),
    "unstable ids": ({"emit": renamed}, "ids change with the machine's name"),
    "unproved": (emitting(attrs.evolve(GOOD, proofs=())), "reed.file changes something and has no proof"),
    "no way back": (emitting(attrs.evolve(GOOD, way_back=NOTHING_TO_UNDO)), "say the way back, or possible=False"),
    "no tool": (emitting(attrs.evolve(GOOD, operations=(Run(argv=("reed",)),))), 'add "tool:reed" to its needs'),
    "shell text": (emitting(attrs.evolve(GOOD, operations=(SHELL,))), "hands text to sh"),
    "pasted path": (emitting(attrs.evolve(GOOD, operations=(Run(argv=("rm", "/mnt/target/x")),))), "write InTarget"),
    "live proof": (emitting(attrs.evolve(GOOD, proofs=(checks.succeeds("Is", "test", "-e", "/etc/x"),))),
                   "reads /etc/x of the live medium"),
    "secret nobody lists": (emitting(attrs.evolve(GOOD, operations=(
        WriteFile(path=InTarget("/etc/x"), content=(SecretRef("key"),)),))), "no action lists it in `secrets`"),
    "pasted command": ({"emit": pasting}, "tells a person to type it unquoted"),
    "option": ({"emit": optional}, "hands it to reed as an option"),
    "going up": ({"emit": pathing}, "never goes up with .."),
    "control characters": ({"emit": carrying, "schema": without_pattern()}, "carries a control character"),
    "crash": ({"emit": crashing}, "AssertionError: no notes"),
    "poor fault": ({"check": faulting}, "must have a code of lower-case words"),
    "comparing crashes": ({"emit": carrying, "changes": lambda old, new: 1 // 0}, "[reed]: ZeroDiv"),
    "change with a full stop": ({"emit": carrying, "changes": lambda old, new: [Change(
        says="Other notes.", cost=Cost.NOTHING)]}, "a change is told in one line without a full stop"),
    "bad draft": ({"draft": lambda survey: "[reed]\nname = 1\n"}, "the draft for the kit's machine: "),
    "draft without section": ({"draft": lambda survey: "name = 1\n"}, "drafting fails"),
}  # fmt: skip


def test_a_good_step_is_not_complained_of() -> None:
    assert found() == []


@pytest.mark.parametrize("changes, says", COMPLAINTS.values(), ids=COMPLAINTS)
def test_the_kit_complains(changes: dict[str, Any], says: str) -> None:
    complaints = found(**changes)
    assert [one for one in complaints if says in one], complaints


def test_a_step_that_is_not_installed_is_told() -> None:
    [complaint] = [one for rule in RULES for one in rule(Subject(section="tide", hosts=(HOST,), registry=load()))]
    assert "no step with the section [tide] is installed" in complaint and "pip install --editable" in complaint
