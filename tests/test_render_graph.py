"""The graph as DOT and as JSON: drawn by Graphviz, judged by the published schema and the JSON Schema meta-schema."""

from __future__ import annotations

import json
import subprocess
import xml.etree.ElementTree as ElementTree

import pytest
from attrs import evolve
from jsonschema import Draft202012Validator

import bedplate_schema
from bedplate.actions import ByHand, Call, Disk, InTarget, Joined, Link, Run, Secret, SecretRef, Stage, WayBack, Where
from bedplate.conditions import file_is, outputs, service_enabled, succeeds
from bedplate.facts import LaidPartition, Layout, Subvolume
from bedplate.faults import Fault, Place
from bedplate.install_graph import InstallGraph
from bedplate.rendering import bedplate_renderers, graph_dot
from bedplate.rendering import graph_json as json_rendering
from rendering import action, graph, writing


def everything() -> InstallGraph:
    """A graph that uses every kind of value once."""
    part = LaidPartition(
        name="root",
        new=True,
        number=1,
        start=2048,
        size=4096,
        type="T",
        uuid="U",
        mount="/",
        subvolumes=(Subvolume(name="@", mount="/", options=("noatime",)),),
    )
    layout = Layout(
        disk_words="d",
        serial="S",
        size_bytes=10**9,
        sector_size=512,
        table_id="I",
        whole_disk=True,
        first_lba=34,
        last_lba=9999,
        partitions=(part,),
        before=(part,),
    )
    made = graph(
        action("demo.hand", ByHand(text="Do it.", commands=("x",)), stage=Stage.FIRMWARE, gives=("prepared:backup",)),
        action(
            "demo.run",
            Run(
                argv=("a", Disk(), InTarget("/x"), Joined(("of=", Disk()))),
                where=Where.TARGET,
                stdin=("a", SecretRef("p"), Disk()),
                stdout_to=InTarget("/y"),
            ),
            Link(path=InTarget("/l"), to="x"),
            Call(verb="file-is", args=(InTarget("/x"), "644"), stdin=("x",), by_hand=("cat x",)),
            needs=("prepared:backup", "tool:sfdisk"),
            gives=("base",),
            secrets=(Secret(name="p", prompt="P"),),
            guards=(succeeds("so", "true"), outputs("so", "x", "echo", "x")),
            stamped=True,
            way_back=WayBack(note="n", operations=(Run(argv=("b",)),)),
        ),
        writing("demo.file", "/etc/x", "y", needs=("base",), proofs=(file_is("/etc/x", ("y",)), service_enabled("u"))),
        facts={Layout: layout},
    )
    place = Place(file="kelp-02.toml", line=3, column=1)
    warning = Fault(code="a-warning", message="Mind it", warning=True, place=place)
    return evolve(made, warnings=(warning,))


def test_the_schema_is_a_schema_with_words_for_every_property() -> None:
    schema = bedplate_schema.load("graph")
    Draft202012Validator.check_schema(schema)
    for definition in (schema, *schema["$defs"].values()):
        if definition.get("type") == "object":
            assert definition["unevaluatedProperties"] is False
            for name, item in definition["properties"].items():
                assert item.get("title") and item.get("description"), (definition["title"], name)


def test_the_json_rendering_is_valid_by_its_schema() -> None:
    document = json.loads(json_rendering.render(everything()))
    errors = list(Draft202012Validator(bedplate_schema.load("graph")).iter_errors(document))
    assert errors == []
    assert [one["number"] for one in document["actions"]] == [1, 2, 3]
    assert document["actions"][2]["after"] == [{"token": "base", "giver": "demo.run"}]


@pytest.mark.parametrize(
    "path",
    [
        ("layout", "serial"),
        ("machine", "name"),
        ("actions", 1, "way_back", "note"),
        ("actions", 1, "operations", 0, "argv"),
        ("actions", 0, "stage"),
    ],
)
def test_the_schema_refuses_what_is_not_so(path: tuple[str | int, ...]) -> None:
    document = json.loads(json_rendering.render(everything()))
    inner = document
    for part in path[:-1]:
        inner = inner[part]
    inner[path[-1]] = 17
    assert not Draft202012Validator(bedplate_schema.load("graph")).is_valid(document)
    del inner[path[-1]]
    assert not Draft202012Validator(bedplate_schema.load("graph")).is_valid(document)
    inner["unknown"] = 1
    assert not Draft202012Validator(bedplate_schema.load("graph")).is_valid(document)


def test_graphviz_draws_every_node_and_edge_once() -> None:
    install = everything()
    drawn = subprocess.run(["dot", "-Tsvg"], input=graph_dot.render(install).encode(), capture_output=True, check=True)
    assert drawn.stderr == b""
    groups = ElementTree.fromstring(drawn.stdout).iter("{http://www.w3.org/2000/svg}g")
    kinds = [group.get("class") for group in groups]
    stages = {node.action.stage for node in install.nodes}
    assert (kinds.count("node"), kinds.count("edge"), kinds.count("cluster")) == (3, 2, len(stages))


def test_dot_says_why_an_action_stands_where_it_does() -> None:
    text = graph_dot.render(everything())
    assert 'n1 -> n2 [tooltip="prepared:backup"];' in text
    assert "Stands here because it needs base from demo.run." in text


def test_same_graph_same_bytes() -> None:
    assert graph_dot.render(everything()) == graph_dot.render(everything())
    assert json_rendering.render(everything()) == json_rendering.render(everything())


def test_the_built_in_renderings_are_these() -> None:
    names = [renderer.name for renderer in bedplate_renderers()]
    assert names == ["checklist", "page", "script", "audit", "graph", "json"]
    assert len({renderer.suffix for renderer in bedplate_renderers()}) == 6
