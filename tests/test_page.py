"""The page as text: hostile strings, the disk map against sfdisk, the graph picture against an independent closure.

The same page in a real browser is tried in test_page_in_browser.py.
"""

from __future__ import annotations

import base64
import hashlib
import html.parser
import itertools
import json
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bedplate.actions import Call
from bedplate.cli import commands
from bedplate.compiling import pipeline
from bedplate.facts import LaidPartition, Layout
from bedplate.install_graph import InstallGraph
from bedplate.loading import registry
from bedplate.rendering import disk_map, disk_segments
from bedplate.rendering.disk_segments import Fate, Segment
from bedplate.rendering.page import graph_picture, page
from rendering import HOSTILE, action, graph
from test_hostile_strings import every_field

SPECS = Path(__file__).resolve().parent.parent / "specs"
MACHINES = ("kelp-02", "limpet-01", "barnacle-05", "tern-04")


def planned(machine: str) -> InstallGraph:
    """The install graph of an example machine."""
    path = str(SPECS / f"{machine}.toml")
    checked = pipeline.check_spec(commands.load_document(path), registry.load(), commands.load_document)
    return pipeline.plan(checked, f"{machine}.toml")


class Elements(html.parser.HTMLParser):
    """All elements of a page with their attributes, and its text outside style and script."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self._inside = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))
        self._inside = tag

    def handle_data(self, data: str) -> None:
        if self._inside not in ("style", "script"):
            self.text.append(data)


# --- the page as a whole -----------------------------------------------------------------------------------------


def test_same_graph_same_bytes() -> None:
    assert page.render(planned("kelp-02")) == page.render(planned("kelp-02"))


def test_by_script_the_stick_comes_first() -> None:
    text = page.render(planned("kelp-02"))
    labels = (
        "Commands that mount the second stick",
        "Command that shows what the script would do",
        "Command that runs the script",
    )
    places = [text.index(f'aria-label="{label}"') for label in labels]
    assert places == sorted(places)
    assert re.sub("<[^>]*>", "", text).count("sh /mnt/second/kelp-02.sh") == 2


def test_the_policy_lets_only_this_style_and_this_script_run() -> None:
    # Content Security Policy Level 3 (W3C), 2.3.1 hash-source; checked with hashlib on the page itself
    text = page.render(planned("kelp-02"))
    style, script = (re.search(rf"<{tag}>(.*?)</{tag}>", text, re.DOTALL) for tag in ("style", "script"))
    assert style and script
    hashes = [base64.b64encode(hashlib.sha256(one[1].encode()).digest()).decode() for one in (style, script)]
    policy = dict(Elements(text).found[3][1])["content"]
    own = f"style-src 'sha256-{hashes[0]}'; script-src 'sha256-{hashes[1]}'"
    assert policy == f"default-src 'none'; img-src data:; {own}"
    names = {name for _, attrs in Elements(text).found for name in attrs}
    assert not {name for name in names if name == "style" or name.startswith("on")}


def test_nothing_points_outside_the_page() -> None:
    for machine in MACHINES:
        found = Elements(page.render(planned(machine))).found
        links = [value for _, attrs in found for name, value in attrs.items() if name in ("href", "src", "action")]
        ids = {attrs["id"] for _, attrs in found if "id" in attrs}
        assert {link for link in links if not (link or "").startswith("#")} == {"data:,"}
        assert {str(link)[1:] for link in links if str(link).startswith("#")} <= ids


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_stays_text(text: str) -> None:
    made, plain = (Elements(page.render(every_field(one))) for one in (text or " ", "plain words"))
    tags = {tag for tag, _ in made.found}
    assert tags <= {tag for tag, _ in plain.found}
    assert [tag for tag, _ in made.found].count("script") == 1
    names = [sorted(attrs) for tag, attrs in made.found if tag in ("input", "button", "a", "section", "li")]
    assert names == [sorted(attrs) for tag, attrs in plain.found if tag in ("input", "button", "a", "section", "li")]
    shown = "".join(made.text)
    for line in text.strip().split("\n"):
        assert line.strip().replace("\x1b", "\\u001B").replace("\x07", "\\u0007").split("\x81")[0] in shown
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]", page.render(every_field(text)))


# --- the disk map ------------------------------------------------------------------------------------------------


@pytest.fixture
def node(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """A loop device as large as the machine's disk, with its sector size (losetup(8))."""
    layout = planned(request.param).fact(Layout)
    assert layout
    image = tmp_path / "disk"
    with image.open("wb") as file:
        file.truncate(layout.size_bytes)
    attach = ["losetup", "--find", "--show", "--sector-size", str(layout.sector_size), str(image)]
    made = subprocess.run(attach, check=True, capture_output=True, text=True).stdout.strip()
    yield made
    subprocess.run(["losetup", "--detach", made], check=True)


def drawn(text: str, row: str) -> list[tuple[int, int, str]]:
    """Start, size and GUID of the partitions in one row of the wide picture."""
    every = [attrs for tag, attrs in Elements(text).found if tag == "g" and attrs.get("data-row") == row]
    wide = [attrs for attrs in every[: len(every) // 2] if "data-uuid" in attrs]
    return [(int(one["data-start"] or 0), int(one["data-size"] or 0), str(one["data-uuid"])) for one in wide]


def read_back(node: str) -> list[tuple[int, int, str]]:
    """The same from the table, as sfdisk reads it."""
    done = subprocess.run(["sfdisk", "--json", node], check=True, capture_output=True, text=True)
    rows = json.loads(done.stdout)["partitiontable"]["partitions"]
    return sorted((row["start"], row["size"], row["uuid"]) for row in rows)


@pytest.mark.parametrize(("machine", "node"), [(one, one) for one in MACHINES], indirect=["node"], ids=MACHINES)
def test_the_map_agrees_with_sfdisk(machine: str, node: str) -> None:
    # the table of before is written from the survey, that of after by the commands the page tells a person to type
    install = planned(machine)
    layout, text = install.fact(Layout), page.render(install)
    assert layout and install.survey
    table = install.survey.disks[0].table
    assert table
    rows = [
        f"{part.number}: start={part.start}, size={part.size}, type={part.type}, uuid={part.uuid}"
        for part in layout.before
    ]
    head = ["label: gpt", f"label-id: {table.id}", f"first-lba: {table.first_lba}"]
    subprocess.run(["sfdisk", "--no-reread", "-q", node], input="\n".join([*head, *rows]), text=True, check=True)
    assert drawn(text, "Before") == read_back(node)
    for part in layout.partitions:
        if part.shrunk_from:
            subprocess.run(
                ["sfdisk", "--no-reread", "-q", "-N", str(part.number), node],
                check=True,
                text=True,
                input=f"start={part.start}, size={part.size}",
            )
    calls = [
        one
        for node_ in install.nodes
        for one in node_.action.operations
        if isinstance(one, Call) and one.verb in ("disk/append-partitions", "disk/make-table")
    ]
    typed = "\n".join(["udevadm() { :; }", *calls[0].by_hand])
    subprocess.run(
        ["sh", "-c", typed],
        check=True,
        capture_output=True,
        env={"DISK": node, "PATH": "/usr/sbin:/usr/bin:/sbin:/bin"},
    )
    assert drawn(text, "After") == read_back(node)


SEGMENTS = st.lists(st.integers(1, 2**40), min_size=1, max_size=12).map(
    lambda sizes: [Segment(fate=Fate.FREE, start=0, size=size) for size in sizes]
)


@given(st.lists(SEGMENTS, min_size=2, max_size=2))
def test_widths_fill_the_room_and_keep_the_order_of_sizes(rows: list[list[Segment]]) -> None:
    # rules of any scale drawing: the room is filled, nothing is too small to see, what is larger is drawn no narrower
    wide = disk_segments.widths(rows, 940, 30)
    pairs = [
        (width, one.size)
        for row, drawn_row in zip(rows, wide, strict=True)
        for width, one in zip(drawn_row, row, strict=True)
    ]
    assert [sum(row) for row in wide] == [940, 940]
    assert all(width >= 30 for width, _ in pairs)
    for row, drawn_row in zip(rows, wide, strict=True):
        large = sorted(((one.size, width) for one, width in zip(row, drawn_row, strict=True)), reverse=True)
        for (bigger, more), (smaller, less) in itertools.pairwise(large):
            assert more >= less - 1 or bigger == smaller


def test_the_text_map_shows_free_space_and_every_fate_within_80_columns() -> None:
    parts = [
        LaidPartition(
            name=name,
            new=new,
            number=number,
            start=2048 + number * 2**25,
            size=2**25,
            type="T",
            uuid=name,
            filesystem="ext4",
        )
        for number, (name, new) in enumerate([("esp", False), ("old", False), ("root", True)])
    ]
    layout = Layout(
        disk_words="d",
        serial="S",
        size_bytes=2**37,
        sector_size=512,
        table_id="I",
        whole_disk=False,
        first_lba=2048,
        last_lba=2**28 - 34,
        partitions=(parts[0], parts[2]),
        before=(parts[0], parts[1]),
    )
    before, after = disk_map.before(layout), disk_map.after(layout)
    assert before[1] == "= kept   x erased   . free" and after[1] == "= kept   + new   . free"
    assert len(before[0]) == len(after[0]) == 73
    assert re.fullmatch(r"\|0 esp =*\|1 old x*\|free \.*\|", before[0])
    assert re.fullmatch(r"\|0 esp =*\|free \.*\|2 root \+*\|free \.*\|", after[0])
    assert any(line.split()[:3] == ["-", "96", "GiB"] for line in before)
    assert all(len(line.rsplit("  ", 1)[0]) <= 80 for line in before + after)


# --- the graph picture -------------------------------------------------------------------------------------------


def closure(after: dict[int, tuple[int, ...]]) -> dict[int, set[int]]:
    """Everything each one waits for, by repeated union."""
    reached = {one: set(givers) for one, givers in after.items()}
    for one in reached:
        for giver in tuple(reached[one]):
            reached[one] |= reached[giver]
    return reached


@given(st.data())
def test_lines_left_out_follow_from_those_drawn(data: st.DataObject) -> None:
    # Aho, Garey and Ullman, The Transitive Reduction of a Directed Graph (1972): same closure, no edge to spare
    after: dict[int, tuple[int, ...]] = {1: ()}
    for one in range(2, 25):
        after[one] = tuple(data.draw(st.sets(st.integers(1, one - 1), max_size=5)))
    reduced = graph_picture.reduced(after)
    assert closure(reduced) == closure(after)
    for one, givers in reduced.items():
        for giver in givers:
            assert closure({**reduced, one: tuple(set(givers) - {giver})}) != closure(after)


def test_every_action_is_in_the_picture_and_leads_to_its_place() -> None:
    install = planned("kelp-02")
    found = Elements(page.render(install)).found
    nodes = [(attrs["data-node"], attrs["href"]) for tag, attrs in found if "data-node" in attrs]
    assert nodes == [(str(node.number), f"#action-{node.number}") for node in install.nodes]
    assert len([tag for tag, _ in found if tag == "circle"]) == len(install.nodes) >= 60


def test_a_graph_without_disk_and_script_work_still_has_a_page() -> None:
    text = page.render(graph(action("demo.one")))
    assert "What is erased" not in text and text.count("Nothing to do here.") == 4
