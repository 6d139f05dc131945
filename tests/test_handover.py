"""The hand-over sheet of the example machines: what was done, ways to start, copies, upkeep; in checklist and page."""

from __future__ import annotations

import re

import pytest

from accidents.staging import MACHINES, actions, planned, told
from accidents.test_target import ENCRYPTED
from bedplate.facts import Layout
from bedplate.rendering import handover_sheet
from bedplate.rendering.page import page


@pytest.mark.parametrize("name", MACHINES)
def test_every_partition_and_the_exact_line_stand_on_the_sheet(name: str) -> None:
    graph = planned(name)
    layout = graph.fact(Layout)
    assert layout is not None and layout.esp is not None
    sheet = told(graph).partition("## Hand-over sheet")[2].partition("## Rescue sheet")[0]
    for part in layout.partitions:
        assert f"{'New' if part.new else 'Kept'}: partition {part.number}, `{part.name}`" in sheet
    [line] = [line for line in sheet.splitlines() if line.startswith("efibootmgr -c")]
    # efibootmgr(8): -d disk, -p partition, -L label, -l loader; nothing is left to be filled in
    assert f'-d "$DISK" -p {layout.esp.number} -L ' in line
    assert not re.search(r"\b[A-Z]{4,}\b", line.replace('"$DISK"', "").split(" -l ")[0])


@pytest.mark.parametrize("name", MACHINES)
def test_every_copy_and_every_duty_is_on_the_sheet(name: str) -> None:
    graph = planned(name)
    sheet = told(graph).partition("## Hand-over sheet")[2].partition("## Rescue sheet")[0]
    sentences = [one for action in actions(graph).values() for one in (*action.leaves, *action.upkeep)]
    assert len(sentences) >= 4
    for sentence in sentences:
        assert sentence.split("(")[0].split(":")[0] in sheet, sentence
    for place in ("/var/lib/bedplate/boot", "/var/lib/bedplate/install.log", "/var/lib/bedplate/spec"):
        assert place in sheet


def test_what_is_encrypted_says_so() -> None:
    sheet = told(planned(spec=ENCRYPTED)).partition("## Hand-over sheet")[2].partition("## Rescue sheet")[0]
    assert re.search(r"New: partition \d, `root`, .* ext4, encrypted, at /\n", sheet)
    assert re.search(r"New: partition \d, `boot`, .* ext4, at /boot\n", sheet)


def test_the_rescue_sheet_closes_what_it_has_opened() -> None:
    way = told(planned(spec=ENCRYPTED)).partition("### Get into the new system")[2].partition("### Put the boot")[0]
    opened = re.findall(r"^cryptsetup open \"\$\(part [0-9A-F]{8}\)\" (\S+)$", way, re.MULTILINE)
    assert sorted(opened) == sorted(re.findall(r"^cryptsetup close (\S+)$", way, re.MULTILINE)) == ["home", "root"]


def test_checklist_and_page_have_the_same_parts() -> None:
    graph = planned()
    html = page.render(graph)
    for way in handover_sheet.sheet(graph):
        assert f"<h3>{way.title.replace(chr(39), '&#39;')}</h3>" in html
    assert html.index('id="handover-title"') < html.index('id="rescue-title"')


def test_without_another_system_nothing_is_said_of_one() -> None:
    titles = [way.title for way in handover_sheet.sheet(planned("limpet-01"))]
    assert "Start the other system when the menu is gone" not in titles
    assert "Make the firmware's boot entry again" in titles
