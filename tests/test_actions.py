"""The vocabulary: fields take what their types say, and one walk sees all of an action, whatever kinds it has."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from attrs import evolve

import bedplate
from bedplate.actions import (
    Action,
    Argv,
    Call,
    Check,
    Disk,
    Gathered,
    InTarget,
    Joined,
    Link,
    Outputs,
    Run,
    Secret,
    SecretRef,
    Stage,
    Succeeds,
    WayBack,
    Where,
    WriteFile,
    map_words,
    walk,
)
from bedplate.comparing.retarget import retarget
from bedplate.linking.package_collection import gather
from bedplate.loading.validate_action import trouble
from library import LIBRARY

HERE = Path(__file__).parents[1]


def whole(*words: object, stage: Stage = Stage.TARGET, where: Where = Where.TARGET) -> Action:
    """An action with these words in every place that takes any."""
    argv: Argv = ("get", *words)  # type: ignore[arg-type]
    run, call = Run(argv=argv, where=where), Call(verb="file-is", args=argv)
    tests = (Succeeds(argv=argv, where=where), Outputs(argv=argv, text="x", where=where), call)
    checks = tuple(Check(says=f"{number}", test=test) for number, test in enumerate(tests))
    return Action(
        id="demo.whole",
        title="Do",
        reason="So.",
        stage=stage,
        operations=(run, call),
        peek=(run, call),
        guards=checks,
        proofs=checks,
        audits=checks,
        way_back=WayBack(note="Back.", operations=(run, call)),
        gathers="package",
    )


PLACES = 2 * 3 + 3 * 3
"""Places for words in `whole`: two operations three times, three checks three times."""


def vectors(action: Action) -> list[Argv]:
    return [getattr(item, name) for item in walk(action) for name in ("argv", "args") if hasattr(item, name)]


def test_the_walk_goes_through_every_field() -> None:
    found = [item for item in walk(whole(Disk(), Joined((InTarget("/a"),)))) if isinstance(item, Disk | InTarget)]
    assert found == [Disk(), InTarget("/a")] * PLACES


def test_names_are_gathered_into_every_place() -> None:
    """Into guards, proofs, audits and the way back, whatever test they have, too."""
    asking = evolve(whole(), id="demo.asks", gathers="", needs=("package:b", "package:a"))
    words = (Gathered("package"), Joined(("--all=", Gathered("package", joined=","))))
    filled, _ = gather([whole(*words), asking])
    assert vectors(filled) == [("get", "a", "b", Joined(("--all=", "a,b")))] * PLACES
    assert not [item for item in walk(filled) if isinstance(item, Gathered)]


def test_a_name_that_is_not_gathered_is_refused_where_it_stands() -> None:
    assert trouble(whole(Gathered("package")), "demo", LIBRARY) == ""
    says = "demo.whole: it names what is gathered of the kind 'group', and gathers 'package'"
    assert trouble(whole(Gathered("group")), "demo", LIBRARY) == says
    [proof] = [one for one in whole(Gathered("group")).proofs if isinstance(one.test, Outputs)]
    assert "gathers none" in trouble(evolve(whole(), proofs=(proof,), gathers=""), "demo", LIBRARY)


def test_an_action_is_rooted_in_every_place() -> None:
    moved = retarget(whole(InTarget("/etc/x"), Joined(("of=", InTarget("/etc/y")))))
    assert vectors(moved) == [("get", "/etc/x", Joined(("of=", "/etc/y")))] * PLACES
    assert not [item for item in walk(moved) if getattr(item, "where", Where.LIVE) is not Where.LIVE]
    files = (WriteFile(path=InTarget("/etc/x"), content=("x",)), Link(path=InTarget("/etc/y"), to="x"))
    assert [item.path for item in map_words(files, lambda item: getattr(item, "path", item))] == ["/etc/x", "/etc/y"]


def test_what_is_not_changed_stays_the_same_value() -> None:
    action = whole(Disk())
    assert map_words(action, lambda item: item) is action


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Run(argv="rm -rf /"), "argv must be a tuple of text, Disk, InTarget, Gathered or Joined: 'rm -rf /'"),  # type: ignore[arg-type]
        (lambda: Run(argv=()), "argv is empty: give each word as its own argument"),
        (lambda: Run(argv=("rm -rf /",)), "'rm -rf /' is no command's name: give each word as its own argument"),
        (lambda: Run(argv=("x",), stdin="x"), "stdin must be a tuple of text, SecretRef or Disk or None: 'x'"),  # type: ignore[arg-type]
        (lambda: Call(verb="x", args=(3,)), "args must be a tuple of text, Disk, InTarget, Gathered or Joined: (3,)"),  # type: ignore[arg-type]
        (lambda: InTarget("etc/x"), "a path of the target begins with / and never goes up with ..: 'etc/x'"),
        (lambda: InTarget("/etc/../x"), "never goes up with .."),
        (lambda: WayBack(note=" "), "the note of a WayBack says how to go back"),
        (lambda: evolve(whole(), title="Two\nlines"), "title must be one line of text"),
        (lambda: evolve(whole(), operations=[]), "operations must be a tuple of Run, WriteFile, Link, Call or ByHand"),
        (lambda: evolve(whole(), stage="target"), "stage must be Stage: 'target'"),
        (lambda: evolve(whole(), needs="base"), "needs must be a tuple of text: 'base'"),
        (lambda: evolve(whole(), changes="no"), "changes must be True or False: 'no'"),
        (lambda: evolve(whole(), secrets=(SecretRef("x"),)), "secrets must be a tuple of Secret: "),
        (lambda: Secret(name="x", prompt=3), "prompt must be text: 3"),  # type: ignore[arg-type]
    ],
)
def test_a_field_takes_what_its_type_says(make: object, says: str) -> None:
    with pytest.raises((TypeError, ValueError)) as error:
        make()  # type: ignore[operator]
    assert says in str(error.value)


SIXTH = '''
@frozen(kw_only=True, field_transformer=typed)
class Mount:
    """A sixth kind of operation."""

    point: InTarget | str
    options: Argv = ()
    key: Content | None = None
    where: Where = Where.LIVE
    first: Call | None = None
    by_hand: tuple[Typed, ...] = ()


'''
PASSES = """
from bedplate.actions import *
from bedplate.actions import map_words, walk
from bedplate.changes import amend
from bedplate.comparing.retarget import retarget
from bedplate.functions import Library
from bedplate.linking.package_collection import gather
from bedplate.loading.validate_action import trouble
from bedplate.rendering.shell_operations import verbs
from bedplate.serialize import digest, serialize
from bedplate.testing.action_rules import by_hand_lines

LIBRARY = Library.of()
mount = Mount(
    point=InTarget("/srv"), options=("-o", Gathered("package", joined=",")), key=(SecretRef("key"),),
    where=Where.TARGET, first=Call(verb="file-is"), by_hand=(("mount ", Gathered("package")),),
)
make = dict(id="demo.mount", title="Mount", reason="So.", stage=Stage.TARGET, operations=(mount,), gathers="package",
            needs=("package:b", "package:a"), secrets=(Secret(name="key", prompt="Key"),))
action = Action(**make)
[filled] = gather([action])
assert filled.operations[0].options == ("-o", "a,b"), filled
assert list(by_hand_lines(filled)) == ["mount a b"], filled
moved = retarget(filled).operations[0]
assert moved.point == "/srv" and moved.where is Where.LIVE, moved
assert trouble(action, "demo", LIBRARY) == "", trouble(action, "demo")
assert "Gathered" not in repr(filled)
assert "and gathers none" in trouble(Action(**{**make, "gathers": ""}), "demo", LIBRARY)
wrong = Mount(point="/x", first=Call(verb="file-iss"))
assert "there is no verb 'file-iss'" in trouble(Action(**{**make, "operations": (wrong,)}), "demo", LIBRARY)
assert verbs(action) == {"file-is"}, verbs(action)
[back] = amend({action.id: filled}, {}, action.id)
assert not back.way_back.possible and "held a secret" in back.way_back.note, back
assert serialize(mount)["kind"] == "mount" and digest(action) != digest(filled)
try:
    Mount(point=3)
except TypeError as error:
    assert str(error) == "point must be InTarget or text: 3", error
"""


def test_a_sixth_kind_of_operation_needs_its_type_alone(tmp_path: Path) -> None:
    """Gathering, rooting, validation, verbs, secrets, digests and the kit see it; script and checklist have to say how
    it is done. A copy of the compiler is given one."""
    home = Path(bedplate.__file__).parent
    shutil.copytree(home, tmp_path / "bedplate", ignore=shutil.ignore_patterns("__pycache__"))
    types = tmp_path / "bedplate/actions.py"
    text, union = types.read_text(), "Operation = Run | WriteFile | Link | Call | ByHand\n"
    assert union in text
    types.write_text(text.replace(union, SIXTH.lstrip() + union.replace("ByHand", "ByHand | Mount")))
    path = os.pathsep.join((str(tmp_path), str(HERE / "schema"), str(HERE / "plugins")))
    ran = subprocess.run(
        [sys.executable, "-c", PASSES], env={**os.environ, "PYTHONPATH": path}, capture_output=True, text=True
    )
    assert ran.returncode == 0, ran.stderr
