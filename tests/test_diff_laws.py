"""Laws of the comparison, for random valid specs: nothing for equal ones, something wherever the graphs differ, and
classes that fit together in both directions. The laws are those of the design; common practice, no source."""

from __future__ import annotations

from functools import cache

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bedplate.changes import Cost
from bedplate.comparing.change_graph import change_graph
from bedplate.comparing.compare import compare
from bedplate.comparing.model import BLOCKING, Diff, Planned
from bedplate.comparing.retarget import retarget
from bedplate.compiling.pipeline import render
from comparing import BASE, planned, registry

_KEY = "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIJ8YH0bKXuD4oOJVAJ4fTmXQnUD6f0mOjk8cQ5lUGdEd"
CHOICES: dict[str, tuple[tuple[str, str], ...]] = {
    "zone": tuple(
        ('hardware_clock = "local"', f'hardware_clock = "local"\nzone = "{zone}"')
        for zone in ("Europe/Amsterdam", "Europe/Berlin", "UTC")
    ),
    "sync": tuple(("[locale]", f'sync = "{word}"\n\n[locale]') for word in ("timesyncd", "chrony", "none")),
    "keymap": tuple(('keymap = "uk"', f'keymap = "{word}"') for word in ("uk", "de", "us")),
    "groups": tuple(
        ('groups = ["dialout"]', f"groups = {word}") for word in ('["dialout"]', "[]", '["video", "audio"]')
    ),
    "ben": (
        ("", ""),
        ("", f'[[users.people]]\nname = "ben"\nuid = 1500\npassword = "none"\nauthorized_keys = ["{_KEY} ben"]\n'),
    ),
    "packages": tuple(('"less", ', word) for word in ('"less", ', "", '"less", "vim", ')),
    "services": tuple(('["ssh.service"]', word) for word in ('["ssh.service"]', '["ssh.service", "fstrim.timer"]')),
    "menu": tuple(("", f"[bootloader]\nmenu_time = {number}\n") for number in (5, 0, 9)),
    "options": tuple(('mount = "/home"', f'mount = "/home"\noptions = {word}') for word in ("[]", '["noatime"]')),
    "root": tuple(('size = "40GiB"', f'size = "{size}"') for size in ("40GiB", "50GiB")),
    "notes": tuple(("keep it.", word) for word in ("keep it.", "keep it, please.")),
    "vlan": (
        ("", ""),
        *(("", f'[[network.links]]\nname = "pump"\nvlan = {{ id = {number}, on = "wired" }}\n') for number in (42, 43)),
    ),
    "optional": tuple(
        ('mac = "00:00:5e:00:53:17"\noptional = true', f'mac = "00:00:5e:00:53:17"\noptional = {word}')
        for word in ("true", "false")
    ),
}
"""By what is chosen: the edits of the example machine, of which one is taken."""

SPECS = st.fixed_dictionaries({name: st.integers(0, len(edits) - 1) for name, edits in CHOICES.items()})
FEW = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)


@cache
def _planned(chosen: tuple[tuple[str, int], ...]) -> Planned:
    text = BASE
    for name, number in chosen:
        old, new = CHOICES[name][number]
        text = text.replace(old, new, 1) if old else f"{text}\n{new}"
    return planned(text, "spec")


def _compared(one: dict[str, int], other: dict[str, int]) -> Diff:
    return compare(_planned(tuple(one.items())), _planned(tuple(other.items())), registry())


@given(SPECS)
@FEW
def test_a_spec_does_not_differ_from_itself(spec: dict[str, int]) -> None:
    assert _compared(spec, dict(spec)).changes == ()


@given(SPECS, SPECS)
@FEW
def test_nothing_is_said_exactly_where_the_graphs_are_equal(one: dict[str, int], other: dict[str, int]) -> None:
    diff = _compared(one, other)
    equal = diff.old.actions == diff.new.actions and diff.old.graph.machine == diff.new.graph.machine
    assert (diff.changes == ()) == equal


@given(SPECS, SPECS)
@FEW
def test_there_and_back_touch_the_same_sections_and_their_classes_fit(
    one: dict[str, int], other: dict[str, int]
) -> None:
    there, back = _compared(one, other), _compared(other, one)
    assert {told.section for told in there.changes} == {told.section for told in back.changes}
    for section in {told.section for told in there.changes}:
        nothing = [
            {told.change.cost for told in diff.changes if told.section == section} == {Cost.NOTHING}
            for diff in (there, back)
        ]
        assert nothing[0] == nothing[1]
    assert (there.cost is Cost.NOTHING) == (back.cost is Cost.NOTHING)


@given(SPECS, SPECS)
@FEW
def test_every_differing_action_is_accounted_for_and_the_work_can_be_linked_and_rendered(
    one: dict[str, int], other: dict[str, int]
) -> None:
    diff = _compared(one, other)
    if not diff.changes:
        return
    graph = change_graph(diff, partly=True)
    ids = [node.action.id for node in graph.nodes]
    assert len(ids) == len(set(ids))
    assert all(told.change.cost in BLOCKING or told.change.cost is Cost.LOSES_DATA for told in diff.blocking)
    if not diff.blocking:
        text = render(registry().renderers["script"], graph)
        assert text == render(registry().renderers["script"], change_graph(_compared(one, other)))


@given(SPECS, SPECS)
@FEW
def test_what_is_done_in_place_ends_with_the_new_audit_and_goes_back_to_the_old_one(
    one: dict[str, int], other: dict[str, int]
) -> None:
    """Every proof that only the new spec's audit has is a proof of the work, and every lasting action has a way back
    that is carried out, or says why not."""
    diff = _compared(one, other)
    if diff.blocking or not diff.changes:
        return
    graph = change_graph(diff)
    proved = {proof.test for node in graph.nodes for proof in node.action.proofs}
    package = {"base.packages"}
    for name, action in diff.new.actions.items():
        before = diff.old.actions.get(name)
        if action.transient or name in package or action.stage.value != "target":
            continue
        kept = {proof.test for proof in retarget(before).proofs} if before else set()
        asked = {proof.test for proof in retarget(action).proofs} - kept
        assert asked <= proved, name
    for node in graph.nodes:
        back = node.action.way_back
        assert not node.action.changes or back.operations or not back.possible or back.goes_with, node.action.id
