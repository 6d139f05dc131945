"""Every built-in step keeps to the contract, nothing switched off; and the kit complains where it should."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import attrs
import pytest

from bedplate import build, conditions
from bedplate.actions import NOTHING_TO_UNDO, Action, InTarget, Run, SecretRef, WayBack, WriteFile
from bedplate.changes import Change, Cost, amend
from bedplate.compiling import pipeline
from bedplate.faults import Fault
from bedplate.hookspecs import Side, Step, hookimpl
from bedplate.loading.plugin_errors import Origin
from bedplate.loading.registry import assemble, load
from bedplate.schema import key, table
from bedplate.testing import HOST, RULES, Host, Subject, change_rules, conformance_tests, schema_rules, unchecked

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


@table
class Reed:
    """Reed."""

    name: str = key("Text.", pattern="^[a-z]+$")
    notes: str = key("Text.", default="")


WORDS: dict[str, Any] = {"title": "Do it", "reason": "So."}
DONE: dict[str, Any] = {
    "proofs": (conditions.succeeds("It is", "test", "-e", InTarget("/x")),),
    "way_back": WayBack(note="It stays, and harms nobody.", possible=False),
}
GOOD = build.write_file("reed.file", "/etc/reed", "reed\n", **WORDS)


@table
class Silent:
    """Reed."""

    name: str = key("Text.", pattern="^[a-z]+$")
    notes: str = key("", default="")


@table
class Open:
    """Reed."""

    name: str = key("Text.", pattern="^[a-z]+$")
    notes: str = key("Text.", pattern=None, default="")


@table
class Unreadable:
    """Reed."""

    name: str = key("Text.", pattern="^[a-z]+$")
    notes: str = key("Text.", minLength="one", default="")


@table
class AnyText:
    """Reed."""

    name: str = key("Text.", pattern="^[a-z]+$")
    notes: str = key("Text.", pattern="^", default="")


NORTH = '[reed]\nname = "north"\nnotes = "sluice"\n'


def about(*, emit: Any = lambda section, context: [GOOD], example: str = NORTH, **changes: Any) -> Subject:
    """A small step with something changed, under test."""
    bad = changes.pop("bad", {})

    class Plugin:
        bedplate_contract = 1

        @hookimpl
        def bedplate_steps(self) -> list[Step]:
            given = {"section": "reed", "title": "Reed", "model": Reed, "emit": emit, **changes}
            return [Step(**given)]

    registry = assemble([(Origin(plugin="reed", distribution="saltmarsh-reed", version="2"), Plugin())])
    whole = attrs.evolve(load(), steps={**load().steps, **registry.steps})
    assert registry.steps
    host = HOST.using("example", Host.parse(example))
    refused = {code: HOST.using("bad", Host.parse(text)) for code, text in bad.items()}
    return Subject(section="reed", hosts=(host,), registry=pipeline.usable(whole), bad=refused)


def found(**changes: Any) -> Iterator[str]:
    """What the kit says of it, rule by rule."""
    step = about(**changes)
    return (f"{rule.__name__}: {one}" for rule in RULES if rule.__name__ not in SLOW for one in rule(step))


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


def strict(section: Reed, context: object) -> Iterator[Fault]:
    if section.name == "south":
        yield Fault(code="reed-south", message="no reed grows there", path=("name",), found=section.name)


def repeating(section: Reed, context: object) -> Iterator[Fault]:
    if section.name == "south":
        yield Fault(code="reed-south", message="no reed grows there", path=("reed", "name"))


SOUTH = {"reed-south": '[reed]\nname = "south"\n'}


@table
class Bare:
    """Reed."""


BARE: dict[str, Any] = {"model": Bare, "example": "[reed]\n"}
SHELL = Run(argv=("sh", "-c", "reed"))

COMPLAINTS: dict[str, tuple[dict[str, Any], str]] = {
    "no description": ({"model": Silent}, "the section, notes has no description"),
    "any text": ({"model": Open}, "notes takes any text: leave out pattern=None"),
    "schema is none": ({"model": Unreadable}, "its schema of [reed] is none"),
    "nothing emitted": (emitting(), "no example makes the step emit an action"),
    "not repeatable": ({"emit": counting()}, "emission_is_repeatable"),
    "unstable ids": ({"emit": renamed}, "ids change with the machine's name"),
    "unproved": (emitting(attrs.evolve(GOOD, proofs=())), "reed.file changes something and has no proof"),
    "no way back": (emitting(attrs.evolve(GOOD, way_back=NOTHING_TO_UNDO)), "say the way back, or possible=False"),
    "no tool": (emitting(attrs.evolve(GOOD, operations=(Run(argv=("reed",)),))), 'add "tool:reed" to its needs'),
    "no touch": (
        emitting(
            attrs.evolve(GOOD, needs=(*GOOD.needs, "tool:hwclock"), operations=(Run(argv=("hwclock", "--systohc")),))
        ),
        "say in `touches` what it formats, deletes or writes",
    ),
    "shell text": (emitting(attrs.evolve(GOOD, operations=(SHELL,))), "hands text to sh"),
    "pasted path": (emitting(attrs.evolve(GOOD, operations=(Run(argv=("rm", "/mnt/target/x")),))), "write InTarget"),
    "live proof": (
        emitting(attrs.evolve(GOOD, proofs=(conditions.succeeds("Is", "test", "-e", "/etc/x"),))),
        "reads /etc/x of the live medium",
    ),
    "no look by hand": (
        emitting(attrs.evolve(GOOD, guards=(conditions.holds("It is wet", "network/network-live"),))),
        "'It is wet' has no look for a person",
    ),
    "secret nobody lists": (
        emitting(attrs.evolve(GOOD, operations=(WriteFile(path=InTarget("/etc/x"), content=(SecretRef("key"),)),))),
        "no action lists it in `secrets`",
    ),
    "proof of nothing there": (
        emitting(attrs.evolve(GOOD, proofs=(conditions.outputs("Is", "yes", "lpstat", "-p"),))),
        "run it there with where=Where.TARGET",
    ),
    "way back without work": (
        emitting(attrs.evolve(GOOD, way_back=WayBack(note="It goes."))),
        "nothing takes it back: give its way back operations",
    ),
    "validation that refuses nothing": (
        {"validate": strict},
        "validate has refused nothing that was tried: give a bad example",
    ),
    "bad example that passes": (
        {"bad": SOUTH},
        "the bad example reed-south is not refused by a fault of that code: nothing is said against it",
    ),
    "bad example of another fault": (
        {"validate": strict, "bad": {"reed-east": SOUTH["reed-south"]}},
        "not refused by a fault of that code: spec.toml",
    ),
    "path from the top": ({"validate": repeating, "bad": SOUTH}, "names [reed] in its path ('reed', 'name')"),
    "changes never asked": ({**BARE, "changes": lambda old, new: ()}, "give a second one"),
    "pasted command": ({"emit": pasting}, "tells a person to type it unquoted"),
    "option": ({"emit": optional}, "hands it to reed as an option"),
    "going up": ({"emit": pathing}, "never goes up with .."),
    "control characters": ({"emit": carrying, "model": AnyText}, "carries a control character"),
    "crash": ({"emit": crashing}, "AssertionError: no notes"),
    "poor fault": ({"validate": faulting}, "must have a code of lower-case words"),
    "crash, told whole": ({"emit": crashing}, 'in crashing\n    assert section.notes, "no notes"'),
    "comparing crashes": ({"emit": carrying, "changes": lambda old, new: 1 // 0}, "[reed]: ZeroDiv"),
    "misspelt action": (
        {"emit": carrying, "changes": lambda old, new: amend(old.actions, new.actions, "reed.fiel")},
        "no action reed.fiel in either spec (nearest: reed.file)",
    ),
    "change with a full stop": (
        {"emit": carrying, "changes": lambda old, new: [Change(says="Other notes.", cost=Cost.NOTHING)]},
        "a change is told in one line without a full stop",
    ),
    "bad draft": ({"draft": lambda survey, disk: "[reed]\nname = 1\n"}, "the draft for the kit's machine: "),
    "draft without section": ({"draft": lambda survey, disk: "name = 1\n"}, "drafting fails"),
}


def test_a_good_step_is_not_complained_of() -> None:
    assert list(found()) == []
    assert list(found(validate=strict, bad=SOUTH)) == []


def test_the_only_example_is_varied_to_ask_for_changes() -> None:
    asked: list[tuple[Any, Any]] = []

    def changes(old: Side, new: Side) -> Iterator[Change]:
        asked.append((old.section, new.section))
        yield from ()

    assert change_rules.changes_can_be_told(about(emit=carrying, changes=changes)) == []
    assert any(old != new for old, new in asked) and all(old and new for old, new in asked)
    asked.clear()
    change_rules.changes_can_be_told(about(emit=carrying, changes=changes, comes_and_goes=True))
    assert {(old is None, new is None) for old, new in asked} == {(False, False), (True, False), (False, True)}


def test_a_rule_with_nothing_to_look_at_is_not_said_to_hold() -> None:
    missing, broken = Subject(section="tide", hosts=(HOST,), registry=load()), about(emit=lambda *_: None)
    checked = [[rule.__name__ for rule in RULES if not unchecked(rule, step)] for step in (missing, broken)]
    assert checked[0] == ["step_is_installed"]
    assert "schema_is_valid" in checked[1] and "examples_compile" in checked[1]
    assert "scripts_are_clean" not in checked[1] and "changes_are_proved" not in checked[1]
    case = conformance_tests("tide")
    with pytest.raises(pytest.skip.Exception, match="not checked: the step cannot be used"):
        case(schema_rules.schema_is_valid)


def test_a_contract_by_name_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(tmp_path))
    (tmp_path / "reed_by_name.py").write_text("from bedplate.hookspecs import CONTRACT\nbedplate_contract = CONTRACT\n")
    (tmp_path / "reed_by_number.py").write_text("bedplate_contract = 1\n")
    said = []
    for module in ("reed_by_name", "reed_by_number"):
        step = about()
        origin = Origin(plugin="reed", distribution="saltmarsh-reed", version="2", module=module)
        own = attrs.evolve(step.registry.steps["reed"], origin=origin)
        step.registry = attrs.evolve(step.registry, steps={"reed": own})
        said.append(schema_rules.contract_is_a_number(step))
    [[complaint], nothing] = said
    assert not nothing and "bedplate_contract is CONTRACT: write the number" in complaint


@pytest.mark.parametrize(("folder", "lies"), [("saltmarsh_reed.egg-info", True), ("saltmarsh_reed-2.dist-info", False)])
def test_a_source_folder_is_no_installation(
    folder: str, lies: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    information = tmp_path / folder
    information.mkdir()
    for name in ("PKG-INFO", "METADATA"):
        (information / name).write_text("Metadata-Version: 2.1\nName: saltmarsh-reed\nVersion: 2\n")
    (information / ("SOURCES.txt" if lies else "RECORD")).write_text("saltmarsh_reed.py\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    assert any("only found because its .egg-info" in one for one in schema_rules.step_is_installed(about())) is lies


@pytest.mark.parametrize("changes, says", COMPLAINTS.values(), ids=COMPLAINTS)
def test_the_kit_complains(changes: dict[str, Any], says: str) -> None:
    heard: list[str] = []
    for complaint in found(**changes):
        heard.append(complaint)
        if says in complaint:
            return
    pytest.fail("\n".join(heard))


def test_a_step_that_is_not_installed_is_told() -> None:
    [complaint] = [one for rule in RULES for one in rule(Subject(section="tide", hosts=(HOST,), registry=load()))]
    assert "no step with the section [tide] is installed" in complaint and "pip install --editable" in complaint
