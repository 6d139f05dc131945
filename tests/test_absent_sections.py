"""A section that only one of two specs has: a plugin's first use on a machine that is installed already, and its last.

What may be done on the running machine follows from the contract; common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Any

import pytest
from attrs import evolve

from bedplate import build, conditions
from bedplate.actions import NOTHING_TO_UNDO, Action, InTarget, Run, SecretRef, Stage, WayBack, Where
from bedplate.changes import Change, Cost, Extra, amend
from bedplate.comparing.added_or_removed import comes, goes
from bedplate.comparing.change_graph import change_graph
from bedplate.comparing.compare import compare
from bedplate.comparing.model import Diff
from bedplate.comparing.report import report
from bedplate.compiling.pipeline import render
from bedplate.faults import Rejected
from bedplate.hookspecs import Side, Step, hookimpl
from bedplate.install_graph import ChangeGraph
from bedplate.linking.link import Owned, link
from bedplate.loading.plugin_errors import Origin, PluginError
from bedplate.loading.registry import Registry, assemble
from bedplate.rendering import script
from bedplate.schema import key, table
from bedplate.spec import Machine
from comparing import BASE, planned, registry
from library import LIBRARY
from rendering import Sandbox

UNIT = "/etc/systemd/system/horn.service"
WORDS: dict[str, Any] = {"reason": "Ships hear it."}


@table
class Horn:
    """Horn."""


def unit() -> Action:
    return build.write_file("horn.unit", UNIT, "[Unit]\n", title="Describe the horn", needs=("package:bc",), **WORDS)


def service() -> Action:
    return build.enable_service(
        "horn.service", "horn.service", title="Sound the horn with the machine", needs=(f"file:{UNIT}",), **WORDS
    )


def folder(way_back: WayBack) -> Action:
    proofs = (conditions.succeeds("The folder is there", "test", "-d", InTarget("/srv/horn"), early=False),)
    return build.run(
        "horn.folder",
        "mkdir",
        "-p",
        InTarget("/srv/horn"),
        title="Make the folder of the horn",
        where=Where.LIVE,
        proofs=proofs,
        way_back=way_back,
        **WORDS,
    )


EMPTY = WayBack(
    note="The folder goes if it is empty.",
    operations=(Run(argv=("rm", "-rf", InTarget("/srv/horn"))),),
    goes_with=build.ROOT,
)


def block() -> Action:
    return build.append("horn.line", "/etc/services", "horn 7412/tcp", marker="horn", title="Name the port", **WORDS)


def listen() -> Action:
    return build.by_hand(
        "horn.listen", "Listen.", "horn --test", title="Listen to the horn", expected="It sounds.", **WORDS
    )


def known(*actions: Action, **more: Any) -> Registry:
    class Plugin:
        bedplate_contract = 1

        @hookimpl
        def bedplate_steps(self) -> list[Step]:
            given = {"model": Horn, "emit": lambda *_: actions, **more}
            return [Step(section="horn", title="Horn", **given)]

    own = assemble([(Origin(plugin="horn", distribution="saltmarsh-horn", version="1.0"), Plugin())])
    assert not own.broken
    return evolve(registry(), steps={**registry().steps, **own.steps})


def added(*actions: Action, back: bool = False, **more: Any) -> Diff:
    """The comparison of a machine without the section and with it, or the other way round."""
    whole = known(*actions, **more)
    bare, full = planned(BASE, "old", whole), planned(BASE + "\n[horn]\n", "new", whole)
    return compare(full, bare, whole) if back else compare(bare, full, whole)


def told(diff: Diff) -> list[tuple[str, str]]:
    return [(one.change.says, one.change.cost.value) for one in diff.changes if one.section == "horn"]


ALL = (unit(), service(), folder(EMPTY), block(), listen())


def test_a_new_section_is_done_on_the_running_machine() -> None:
    diff = added(*ALL)
    assert told(diff) == [("the section [horn] is new", "at next boot")]
    assert ("package bc is added", "in place") in [(one.change.says, one.change.cost.value) for one in diff.changes]
    ids = [node.action.id for node in change_graph(diff).nodes]
    assert ids.index("base.packages-add") < ids.index("horn.unit") < ids.index("horn.service")
    assert ids[-2:] == ["change.restart", "horn.listen"], "what a person sees after the start comes after the start"
    assert "change.sh" in render(registry().renderers["checklist"], change_graph(diff))


def test_a_section_that_is_gone_is_taken_back_the_last_first() -> None:
    diff = added(*ALL, back=True)
    assert told(diff) == [("the section [horn] is gone", "at next boot")]
    nodes = [node.action for node in change_graph(diff).nodes]
    own = ["horn.line", "horn.folder", "horn.service", "horn.unit"]
    assert [one.id for one in nodes] == [*own, "base.packages-remove", "change.restart"]
    assert {check.says for one in nodes for check in one.proofs} >= {
        f"{UNIT} is gone",
        "The service horn.service is no longer enabled",
    }


def test_without_a_service_nothing_waits_for_a_start() -> None:
    assert told(added(block())) == [("the section [horn] is new", "in place")]
    assert told(added(block(), back=True)) == [("the section [horn] is gone", "in place")]
    assert told(added(listen(), back=True)) == [("the section [horn] is gone", "nothing to do")]


LIVE = evolve(folder(EMPTY), stage=Stage.LIVE)
OTHER = evolve(listen(), stage=Stage.OTHER_SYSTEM, needs=())
PASSING = evolve(folder(EMPTY), transient=True)


@pytest.mark.parametrize(
    ("action", "why"),
    [
        (LIVE, "Install the machine anew: “Make the folder of the horn” is done on the live medium."),
        (OTHER, "Install the machine anew: “Listen to the horn” is done in the other system."),
        (
            PASSING,
            "Install the machine anew: “Make the folder of the horn” is done only while the machine is installed.",
        ),
    ],
)
def test_what_is_no_work_in_the_target_keeps_the_whole_section_out(action: Action, why: str) -> None:
    change = comes("horn", {}, {one.id: one for one in (unit(), action)})
    assert (change.cost, change.why, change.actions) == (Cost.LIVE_MEDIUM, why, ())
    assert set(change.covers) == {"horn.unit", action.id}


NEVER = folder(WayBack(note="What was in it is lost.", possible=False))
WITH_ROOT = folder(WayBack(note="Root goes.", goes_with=build.ROOT))


@pytest.mark.parametrize(
    ("action", "cost", "why"),
    [
        (
            NEVER,
            Cost.ASK,
            "“Make the folder of the horn” has no way back on a running machine: What was in it is lost.",
        ),
        (WITH_ROOT, Cost.ASK, "“Make the folder of the horn” has no way back on a running machine: Root goes."),
        (
            LIVE,
            Cost.LIVE_MEDIUM,
            "“Make the folder of the horn” was done on the live medium, and is not taken back on a running machine.",
        ),
    ],
)
def test_what_has_no_way_back_keeps_the_section_there(action: Action, cost: Cost, why: str) -> None:
    change = goes("horn", {one.id: one for one in (unit(), action)}, {})
    assert (change.cost, change.why, change.actions) == (cost, why, ())


@pytest.mark.parametrize(
    ("action", "note"),
    [(NEVER, "What was in it is lost."), (WITH_ROOT, "Not taken back on a running machine. Root goes.")],
)
def test_an_added_action_without_a_way_back_says_so(action: Action, note: str) -> None:
    [change] = comes("horn", {}, {action.id: action}).actions
    assert change.way_back == WayBack(note=note, possible=False)


def test_a_way_back_is_carried_out_whole_and_spares_what_others_bring() -> None:
    stop = Run(argv=("systemctl", "stop", "horn.service"))
    own = evolve(
        unit(),
        way_back=WayBack(note="The horn is still.", operations=(stop, Run(argv=("rm", "-f", "--", InTarget(UNIT))))),
    )
    [gone] = goes("horn", {own.id: own}, {}).actions
    assert gone.operations[:2] == own.way_back.operations
    [made] = comes("horn", {}, {own.id: own}).actions
    assert made.way_back.operations[:2] == own.way_back.operations
    other = evolve(unit(), id="buoy.unit")
    [gone] = goes("horn", {own.id: own}, {other.id: other}).actions
    assert not gone.operations, "another action brings the same file"


def test_a_step_that_knows_better_is_asked() -> None:
    begin = Run(argv=("systemctl", "start", "horn.service"))

    def changes(old: Side, new: Side) -> Iterable[Change]:
        assert (old.section, new.section) == (None, Horn())
        extra = {"horn.service": Extra(after=(begin,))}
        actions = amend(old.actions, new.actions, "horn.unit", "horn.service", extra=extra)
        yield Change(says="the horn is put up", cost=Cost.IN_PLACE, new=(), actions=actions)

    diff = added(unit(), service(), changes=changes, comes_and_goes=True)
    assert told(diff) == [("the horn is put up", "in place")]
    last = next(node.action for node in change_graph(diff).nodes if node.action.id == "horn.service")
    assert last.operations[-1] == begin


def test_a_step_that_only_knows_changes_is_not_asked() -> None:
    def changes(old: Side, new: Side) -> Iterable[Change]:
        raise AssertionError("one of the sections is not there")

    assert told(added(block(), changes=changes)) == [("the section [horn] is new", "in place")]


def test_two_changes_that_want_one_action_done_differently_are_refused() -> None:
    """Whichever came first, the other's work would silently not be done."""

    def changes(old: Side, new: Side) -> Iterable[Change]:
        for words in ("sounds twice", "sounds thrice"):
            yield Change(says=words, cost=Cost.IN_PLACE, new=(), actions=(evolve(unit(), needs=(), title=words),))

    with pytest.raises(Rejected) as refused:
        change_graph(added(unit(), changes=changes, comes_and_goes=True))
    [fault] = refused.value.faults
    assert (fault.code, fault.path) == ("two-ways", ("horn",)) and "horn.unit" in fault.message


@pytest.mark.parametrize("stays", [True, False])
def test_what_held_a_secret_cannot_be_put_back(stays: bool) -> None:
    """The old secret is kept nowhere: a way back would write a file without it."""
    plain = build.write_file("horn.key", "/etc/horn.key", "none\n", title="Write the key", **WORDS)
    [work] = plain.operations
    old = evolve(plain, operations=(evolve(work, content=(SecretRef(name="horn"), "\n")),))  # type: ignore[call-arg]
    for before, possible in ((old, False), (plain, True)):
        [action] = amend({before.id: before}, {before.id: evolve(plain, title="Write it")} if stays else {}, before.id)
        assert action.way_back.possible is possible and ("secret" in action.way_back.note) is not possible


def test_what_only_brings_something_else_is_done_differently() -> None:
    """What an action gives decides what its way back takes away, so that it is carried out in its new form."""
    own = [evolve(unit(), needs=(), gives=(f"file:{UNIT}", *more)) for more in ((), ("horn:described",))]
    one, other = (known(action, changes=lambda *_: ()) for action in own)
    sides = planned(BASE + "\n[horn]\n", "old", one), planned(BASE + "\n[horn]\n", "new", other)
    assert told(compare(*sides, other)) == [('the action "Describe the horn" is done differently', "in place")]


def test_a_change_in_part_says_that_the_section_is_left_out() -> None:
    diff = added(unit(), LIVE)
    text = render(registry().renderers["checklist"], change_graph(diff, partly=True))
    left = text[text.index("## What this leaves out") : text.index("## Cautions")]
    assert "The section \\[horn\\] is new: from a live medium, not by a change script" in left
    assert "“Make the folder of the horn” is done on the live medium" in left


# --- carried out -----------------------------------------------------------------------------------------------------


def text_of(actions: Iterable[Action], moved: Callable[[Action], Action] = lambda one: one) -> str:
    owned = [Owned(action=moved(evolve(one, needs=())), section="horn", origin="horn 1.0") for one in actions]
    nodes, tools = link(owned)
    graph = ChangeGraph(
        spec_file="new.toml",
        old_spec_file="old.toml",
        machine=Machine(name="kelp-02"),
        survey=None,
        nodes=nodes,
        tools=tools,
        library=LIBRARY,
    )
    return script.render(graph).replace("\nTARGET=''", "\nTARGET=/mnt/target", 1)


SYSTEMCTL = """\
root=${1#--root=}
[ "$1" = --root ] && root=$2 && shift
shift
case $1 in
enable) [ -e "$root/etc/systemd/system/$3" ] && : >"$root/enabled" ;;
disable) [ -e "$root/etc/systemd/system/$3" ] && rm -f "$root/enabled" ;;
is-enabled) if [ -e "$root/enabled" ]; then echo enabled; else echo disabled; exit 1; fi ;;
esac
"""
"""Stands for systemctl(1): a unit without its file can neither be enabled nor disabled."""


@pytest.mark.parametrize("shell", ["dash", "bash"])
def test_adding_undoing_and_removing_leave_what_they_should(shell: str, tmp_path: Any) -> None:
    box = Sandbox(tmp_path / "box")
    box.fake("systemctl", SYSTEMCTL)
    (box.target / "etc").mkdir()
    (box.target / "etc/services").write_text("ssh 22/tcp\n")

    def state() -> dict[str, str]:
        return {
            str(path.relative_to(box.target)): path.read_text() if path.is_file() else ""
            for path in box.target.rglob("*")
            if (path.is_file() and not path.name.startswith("begun-")) or path.name == "horn"
        }

    before = state()
    own = {one.id: one for one in ALL[:4]}
    adding = text_of(comes("horn", {}, own).actions)
    removing = text_of(reversed(goes("horn", own, {}).actions))
    ran = box.run(adding, shell)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    after = state()
    assert set(after) == {*before, UNIT[1:], "enabled", "srv/horn"} and "7412/tcp" in after["etc/services"]
    assert box.run(adding, shell, options=["--undo"]).returncode == 0 and state() == before
    assert box.run(adding, shell).returncode == 0 and state() == after
    ran = box.run(removing, shell)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert state() == before
    assert box.run(removing, shell, options=["--undo"]).returncode == 0 and state() == after


def test_looking_at_nothing_is_no_way_back() -> None:
    plain = evolve(folder(EMPTY), way_back=NOTHING_TO_UNDO)
    assert goes("horn", {plain.id: plain}, {}).cost is Cost.ASK


# --- what a step says of its changes ---------------------------------------------------------------------------------


@table
class Tune:
    """Horn."""

    tune: str = key("How it sounds.", default="low")


def tuning(section: Tune, context: object) -> list[Action]:
    return [build.write_file("horn.settings", "/etc/horn", section.tune, title="Write the horn's tune", **WORDS)]


def tuned(changes: Callable[[Side, Side], Iterable[Change]]) -> Diff:
    whole = known(model=Tune, emit=tuning, changes=changes)
    bare, full = (
        planned(BASE + f'\n[horn]\ntune = "{word}"\n', name, whole) for word, name in (("low", "old"), ("high", "new"))
    )
    return compare(bare, full, whole)


def test_an_id_that_neither_spec_has_is_told() -> None:
    def changes(old: Side, new: Side) -> Iterable[Change]:
        actions = amend(old.actions, new.actions, "horn.setings")
        yield Change(says="the horn gets another tune", cost=Cost.IN_PLACE, actions=actions)

    with pytest.raises(PluginError, match=r"no action horn\.setings in either spec \(nearest: horn\.settings\)"):
        tuned(changes)


def test_an_action_that_neither_spec_has_may_be_asked_for() -> None:
    def changes(old: Side, new: Side) -> Iterable[Change]:
        actions = amend(old.actions, new.actions, "horn.settings", "horn.setting-two", "horn.other")
        yield Change(says="the horn gets another tune", cost=Cost.IN_PLACE, actions=actions)

    assert told(tuned(changes)) == [("the horn gets another tune", "in place")]


def test_what_a_step_leaves_untold_follows_from_its_own_section() -> None:
    [one] = [one for one in tuned(lambda old, new: ()).changes if one.section == "horn"]
    assert one.change.why == "It follows from a change in this section."


def test_values_that_no_path_was_given_for_are_not_said_to_be_unwritten() -> None:
    def changes(old: Side, new: Side) -> Iterable[Change]:
        actions = amend(old.actions, new.actions, "horn.settings")
        yield Change(says="the horn gets another tune", cost=Cost.IN_PLACE, actions=actions)

    assert "not written" not in report(tuned(changes), places=True)


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        (lambda *_: ["other"], "changes of [horn] must give Change objects, it gave str"),
        (lambda *_: None, "changes of [horn] must give Change objects: yield them, or return a list; it gave NoneType"),
    ],
)
def test_what_is_no_change_is_refused(answer: Any, says: str) -> None:
    with pytest.raises(PluginError, match=re.escape(says)):
        tuned(answer)
