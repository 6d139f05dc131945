"""The install graph: linking, gathering, faults and order.

The order is checked against graphlib.TopologicalSorter of the Python standard library as the reference for what a
topological order is.
"""

from __future__ import annotations

import graphlib
import itertools
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bedplate.actions import Action, Call, Gathered, Joined, Run, Stage
from bedplate.faults import Rejected, describe
from bedplate.install_graph import Node
from bedplate.linking.link import Owned, link, order


def act(name: str, needs: Sequence[str] = (), gives: Sequence[str] = (), **more: object) -> Owned:
    fields: dict[str, object] = {"stage": Stage.LIVE, "operations": (Run(argv=("true",)),), "reason": "r", **more}
    action = Action(id=name, title=name, needs=tuple(needs), gives=tuple(gives), **fields)  # type: ignore[arg-type]
    return Owned(action=action, section=name.split(".")[0], origin=f"step {name.split('.')[0]}, test 1")


def ids(nodes: Sequence[Node]) -> list[str]:
    return [node.action.id for node in nodes]


def test_dependency_goes_before_section_order() -> None:
    nodes, _ = link([act("a.one", needs=["partition:x"]), act("b.two", gives=["partition:x"])])
    assert ids(nodes) == ["b.two", "a.one"]
    assert nodes[1].after[0].token == "partition:x"
    assert nodes[1].after[0].giver == "b.two"


def test_without_edges_section_then_emission_order_stays() -> None:
    nodes, _ = link([act("b.one"), act("b.two"), act("a.one")])
    assert ids(nodes) == ["b.one", "b.two", "a.one"]


def test_an_earlier_stage_goes_first_whatever_the_section_order() -> None:
    nodes, _ = link([act("a.t", stage=Stage.TARGET), act("b.l"), act("c.o", stage=Stage.OTHER_SYSTEM)])
    assert ids(nodes) == ["c.o", "b.l", "a.t"]


def test_tools_nobody_gives_are_asked_of_the_medium() -> None:
    nodes, tools = link([act("a.one", needs=["tool:sfdisk", "tool:made"]), act("b.two", gives=["tool:made"])])
    assert tools == ("sfdisk",)
    assert ids(nodes) == ["b.two", "a.one"]


def test_needs_of_a_gathered_kind_become_words_and_edges() -> None:
    run = Run(argv=("get", Gathered("package"), Joined(("--all=", Gathered("package", joined=",")))))
    base = act("base.install", gathers="package", operations=(run,))
    nodes, _ = link([act("a.x", needs=["package:zsh", "package:at"]), base, act("b.y", needs=["package:zsh"])])
    filled = nodes[0].action
    assert filled.operations == (Run(argv=("get", "at", "zsh", Joined(("--all=", "at,zsh")))),)
    assert filled.gives == ("package:at", "package:zsh")
    assert ids(nodes) == ["base.install", "a.x", "b.y"]


def test_the_end_of_a_stage_waits_for_all_of_it_but_not_for_what_follows() -> None:
    nodes, _ = link(
        [
            act("a.close", needs=["stage:target", "target:unbound"], stage=Stage.TARGET, gives=["target:closed"]),
            act("a.unbind", needs=["stage:target"], stage=Stage.TARGET, gives=["target:unbound"]),
            act("a.first-boot", stage=Stage.FIRST_BOOT),
            act("z.last-file", stage=Stage.TARGET),
            act("z.after", needs=["target:closed"], stage=Stage.TARGET),
        ]
    )
    assert ids(nodes) == ["z.last-file", "a.unbind", "a.close", "z.after", "a.first-boot"]


def test_the_end_of_an_earlier_stage_does_not_free_the_end_of_a_later_one() -> None:
    nodes, _ = link(
        [
            act("a.close", needs=["stage:target"], stage=Stage.TARGET),
            act("a.shut-down", needs=["stage:other-system"], stage=Stage.OTHER_SYSTEM, gives=["prepared:off"]),
            act("a.backup", stage=Stage.OTHER_SYSTEM),
            act("b.partition", needs=["prepared:off"], gives=["base"]),
            act("z.file", needs=["base"], stage=Stage.TARGET),
        ]
    )
    assert ids(nodes) == ["a.backup", "a.shut-down", "b.partition", "z.file", "a.close"]


def test_an_unmet_need_names_who_needs_it_and_the_nearest_given() -> None:
    with pytest.raises(Rejected) as caught:
        link([act("a.one", needs=["partition:roto"]), act("b.two", gives=["partition:root"])])
    (fault,) = caught.value.faults
    assert fault.code == "unmet-need"
    assert "a.one (step a, test 1) needs partition:roto" in fault.message
    assert fault.nearest == "partition:root"


def test_two_givers_are_both_named() -> None:
    with pytest.raises(Rejected) as caught:
        link([act("a.one", gives=["base"]), act("b.two", gives=["base"])])
    (fault,) = caught.value.faults
    assert fault.code == "two-givers"
    assert "a.one (step a, test 1)" in fault.message
    assert "b.two (step b, test 1)" in fault.message


def test_a_need_given_only_in_a_later_stage_is_a_fault() -> None:
    with pytest.raises(Rejected) as caught:
        link([act("a.one", needs=["base"]), act("b.two", gives=["base"], stage=Stage.TARGET)])
    assert [fault.code for fault in caught.value.faults] == ["backward-need"]


def test_one_id_twice_is_a_fault() -> None:
    with pytest.raises(Rejected) as caught:
        link([act("a.one"), act("a.one")])
    assert [fault.code for fault in caught.value.faults] == ["duplicate-action"]


CYCLE = [
    act("x.lead-in", needs=["user:a"]),
    act("a.one", needs=["user:b", "user:c"], gives=["user:a"]),
    act("b.two", needs=["user:a"], gives=["user:b"]),
    act("c.three", needs=["user:a"], gives=["user:c"]),
]


def test_a_cycle_is_a_closed_walk_of_real_links_without_lead_in() -> None:
    with pytest.raises(Rejected) as caught:
        link(CYCLE)
    (fault,) = caught.value.faults
    assert fault.code == "action-cycle"
    assert fault.message.endswith("a.one -> b.two -> a.one")
    assert "a.one (step a, test 1) needs user:b, given by b.two (step b, test 1)" in describe(fault)


def test_all_small_graphs_are_ordered_or_told_of_their_cycle() -> None:
    """Every graph on four nodes (reference: graphlib says which have a cycle)."""
    pairs = [(a, b) for a in range(4) for b in range(4) if a != b]
    for chosen in itertools.product((False, True), repeat=len(pairs)):
        after: list[list[int]] = [[] for _ in range(4)]
        for (a, b), there in zip(pairs, chosen, strict=True):
            if there:
                after[a].append(b)
        _agrees(after)


def _agrees(after: list[list[int]]) -> None:
    found = order(after, range(len(after)))
    try:
        graphlib.TopologicalSorter(dict(enumerate(after))).prepare()
    except graphlib.CycleError:
        assert len(found) < len(after)
        return
    place = {index: position for position, index in enumerate(found)}
    assert sorted(found) == list(range(len(after)))
    assert all(place[giver] < place[index] for index, row in enumerate(after) for giver in row)


@given(st.lists(st.lists(st.integers(0, 40), max_size=5), min_size=1, max_size=41))
def test_random_acyclic_graphs_are_ordered(rows: list[list[int]]) -> None:
    _agrees([[giver for giver in row if giver < index] for index, row in enumerate(rows)])


@given(st.permutations(range(5)))
def test_the_order_does_not_depend_on_the_order_of_needs(permutation: list[int]) -> None:
    givers = [act(f"a.g{i}", gives=[f"user:u{i}"]) for i in range(5)]
    needer = act("b.n", needs=[f"user:u{i}" for i in permutation])
    nodes, _ = link([needer, *givers])
    assert ids(nodes) == [*(f"a.g{i}" for i in range(5)), "b.n"]


def test_the_digest_changes_with_any_field() -> None:
    one, _ = link([act("a.one")])
    two, _ = link([act("a.one", operations=(Call(verb="v"),))])
    assert one[0].digest != two[0].digest
    assert one[0].digest == link([act("a.one")])[0][0].digest


def test_what_only_looks_goes_before_the_first_write_of_the_live_stage() -> None:
    nodes, _ = link(
        [
            act("a.table", gives=["disk:partitioned"], needs=["disk:saved"]),
            act("a.save", gives=["disk:saved"]),
            act("a.mount", transient=True, needs=["disk:partitioned"], gives=["mount:/"]),
            act("b.format", needs=["disk:partitioned"]),
            act("c.clock", transient=True, needs=["network:live"]),
            act("d.network", changes=False, gives=["network:live"]),
            act("e.there", changes=False, stage=Stage.TARGET),
            act("e.written", stage=Stage.TARGET),
            act("f.shut-down", stage=Stage.FIRMWARE, gives=["prepared:off"]),
            act("g.loader", changes=False, needs=["prepared:off"]),
        ]
    )
    assert ids(nodes) == [
        "f.shut-down",
        "d.network",
        "c.clock",
        "g.loader",
        "a.save",
        "a.table",
        "a.mount",
        "b.format",
        "e.there",
        "e.written",
    ]


def test_what_is_done_at_another_machine_goes_first_in_its_stage() -> None:
    """Common practice, no source: the medium is ready before anything at the machine is changed."""
    nodes, _ = link(
        [
            act("a.back-up", stage=Stage.OTHER_SYSTEM, changes=False),
            act("a.shrink", stage=Stage.OTHER_SYSTEM),
            act("b.write", stage=Stage.OTHER_SYSTEM, needs=["prepared:image"], away=True),
            act("b.verify", stage=Stage.OTHER_SYSTEM, gives=["prepared:image"], away=True),
            act("b.late", stage=Stage.OTHER_SYSTEM, needs=["prepared:shrunk"], away=True),
            act("c.shrunk", stage=Stage.OTHER_SYSTEM, gives=["prepared:shrunk"]),
        ]
    )
    assert ids(nodes) == ["b.verify", "b.write", "a.back-up", "a.shrink", "c.shrunk", "b.late"]


def test_gathered_names_stand_quoted_in_what_a_person_types() -> None:
    typed = Call(verb="get", by_hand=("update", ("get ", Gathered("package"), " --now")))
    other = Run(argv=("x",), by_hand=(("y ", Gathered("package")),))
    base = act("base.install", gathers="package", operations=(typed, other))
    nodes, _ = link([base, act("a.x", needs=["package:zsh", "package:at;reboot"])])
    assert nodes[0].action.operations == (
        Call(verb="get", by_hand=("update", "get 'at;reboot' zsh --now")),
        Run(argv=("x",), by_hand=("y 'at;reboot' zsh",)),
    )
