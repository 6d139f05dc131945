"""The page in a real headless Chromium. Accessibility is judged by axe-core (WCAG 2.2 AA rules), paper by pdftotext."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from attrs import evolve

from bedplate.install_graph import InstallGraph
from bedplate.rendering import stage_text
from bedplate.rendering.page import page
from browser import Browser
from rendering import HOSTILE
from test_hostile_strings import every_field
from test_page import planned

CACHE = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "bedplate-tests"
HAND = "document.querySelector('[value=hand]').click()"


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """One browser for all tests of this file."""
    made = Browser(tmp_path_factory.mktemp("profile"))
    yield made
    made.close()


@pytest.fixture(scope="module")
def install() -> InstallGraph:
    """The graph of the example laptop."""
    return planned("kelp-02")


@pytest.fixture(scope="module")
def sheet(install: InstallGraph, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its page."""
    path = tmp_path_factory.mktemp("page") / "kelp-02.html"
    path.write_text(page.render(install), encoding="utf-8")
    return path


@pytest.fixture(autouse=True)
def clean(browser: Browser, sheet: Path) -> None:
    """Nothing kept, nothing logged."""
    browser.open(sheet)
    browser.script("localStorage.clear()")
    browser.requests()
    browser.complaints()


@pytest.fixture(scope="module")
def axe() -> str:
    """axe-core's script, fetched once by the npm client."""
    path = CACHE / "node_modules" / "axe-core" / "axe.min.js"
    if not path.exists():
        CACHE.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=CACHE.parent) as folder:
            subprocess.run(
                ["npm", "install", "--silent", "--no-audit", "--no-fund", "--prefix", folder, "axe-core@4"], check=True
            )
            shutil.copytree(folder, CACHE, dirs_exist_ok=True)
    return path.read_text(encoding="utf-8")


# --- ticks, notes, the way ---------------------------------------------------------------------------------------


def state(browser: Browser) -> list[object]:
    """Ticks, note and way as they stand on the page."""
    return list(
        browser.script(
            "return [[...document.querySelectorAll('.tick:checked')].map(box => box.id),"
            " document.querySelector('#action-2 textarea').value, document.body.dataset.way,"
            " document.querySelector('[data-count=\"1\"]').textContent, document.querySelector('#next').textContent]"
        )
    )


def work(browser: Browser) -> None:
    """Tick two actions, write a note, choose the way by hand, as a person does."""
    for box in ("tick-1", "tick-3"):
        browser.driver.find_element("css selector", f"label[for={box}]").click()
    browser.driver.find_element("css selector", "#action-2 .note summary").click()
    browser.driver.find_element("css selector", "#action-2 textarea").send_keys("key is in the safe")
    browser.script(HAND)


NEXT = "Next: 2 At your desk: write the image to the stick that becomes the live medium"
DONE = [["tick-1", "tick-3"], "key is in the safe", "hand", "2/8", NEXT]


def test_ticks_notes_and_way_survive_a_reload(browser: Browser, sheet: Path) -> None:
    browser.open(sheet)
    work(browser)
    assert state(browser) == DONE
    browser.driver.refresh()
    assert state(browser) == DONE


def test_a_changed_spec_starts_clean_and_says_so(browser: Browser, sheet: Path, install: InstallGraph) -> None:
    browser.open(sheet)
    work(browser)
    changed = evolve(install, machine=evolve(install.machine, notes="Another plan."))
    other = sheet.with_name("changed.html")
    other.write_text(page.render(changed), encoding="utf-8")
    browser.open(other)
    assert state(browser)[:3] == [[], "", "script"]
    assert browser.driver.find_element("id", "changed").is_displayed()
    browser.open(sheet)
    assert state(browser) == DONE
    assert not browser.driver.find_element("id", "changed").is_displayed()


def test_by_script_a_stage_has_one_box_and_by_hand_all(browser: Browser, sheet: Path, install: InstallGraph) -> None:
    browser.open(sheet)
    parts = stage_text.parts(install)
    count = "return [...document.querySelectorAll('[data-count]')].map(one => one.textContent)"
    assert browser.script(count)[2:4] == ["0/4", "0/1"]
    shown = "return [...document.querySelectorAll('.scripted .tick')].filter(box => box.checkVisibility()).length"
    assert browser.script(shown) == 0
    browser.script(HAND)
    assert browser.script(count) == [f"0/{len(part.actions)}" for part in parts]
    assert browser.script(shown) == len(parts[2].actions) + len(parts[3].actions)


def test_a_link_to_a_folded_action_unfolds_it(browser: Browser, sheet: Path) -> None:
    browser.open(sheet, at="#action-40")
    assert browser.driver.find_element("css selector", "#action-40 h3").is_displayed()
    assert browser.script("return document.querySelector('#action-40').getBoundingClientRect().top >= 0")


# --- copying, keyboard, quiet ------------------------------------------------------------------------------------


def test_copy_takes_the_exact_commands(browser: Browser, sheet: Path, install: InstallGraph) -> None:
    browser.open(sheet)
    browser.script(HAND)
    browser.command("Browser.grantPermissions", permissions=["clipboardReadWrite", "clipboardSanitizedWrite"])
    for told in (one for part in stage_text.parts(install) for one in part.actions):
        blocks = [one for one in told.work if isinstance(one, stage_text.Commands)]
        if not blocks or told.number % 4:
            continue
        button = browser.driver.find_element("css selector", f"#action-{told.number} > .body > .commands .copy")
        browser.script("arguments[0].scrollIntoView({block: 'center'})", button)
        button.click()
        copied = browser.driver.execute_async_script(
            "const done = arguments[0]; setTimeout(() => navigator.clipboard.readText().then(done, String), 50)"
        )
        assert copied == "\n".join(blocks[0].lines)
        assert button.text == "Copied"


def test_the_keyboard_reaches_everything_in_reading_order(browser: Browser, sheet: Path) -> None:
    browser.open(sheet)
    order = []
    for _ in range(16):
        browser.command("Input.dispatchKeyEvent", type="keyDown", key="Tab", code="Tab", windowsVirtualKeyCode=9)
        order.append(
            browser.script(
                "const one = document.activeElement; const box = getComputedStyle(one);"
                "return [one.className || one.dataset.keep || one.tagName, box.outlineStyle]"
            )
        )
    names = [name for name, _ in order]
    assert names[:2] == ["skip", "A"] and names[6:9] == ["next", "hand-1", "hand-2"]
    assert {outline for _, outline in order} == {"solid"}


def test_no_request_leaves_the_page_and_the_console_is_silent(browser: Browser, sheet: Path) -> None:
    browser.open(sheet)
    work(browser)
    asked = [url for url in browser.requests() if not url.startswith("chrome")]
    assert set(asked) <= {sheet.as_uri(), "about:blank", "data:,"} and sheet.as_uri() in asked
    assert browser.complaints() == []


def test_hostile_text_does_not_run_and_breaks_nothing(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "hostile.html"
    code = "document.title='BROKEN'"
    texts = " ".join(HOSTILE) + f"</script><script>{code}</script><img src=x onerror={code}>"
    path.write_text(page.render(every_field(texts)), encoding="utf-8")
    browser.open(path, width=360)
    assert browser.driver.title == "kelp-02: installation sheet"
    assert browser.script("return [document.scripts.length, document.images.length]") == [1, 0]
    assert browser.script("return document.documentElement.scrollWidth") == 360
    assert browser.complaints() == []


# --- sight -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("width", "dark"), [(360, False), (1200, True)], ids=["phone-light", "desktop-dark"])
def test_axe_finds_no_violation(browser: Browser, sheet: Path, axe: str, width: int, dark: bool) -> None:
    browser.open(sheet, width=width, dark=dark)
    browser.script(HAND)
    browser.script("for (const fold of document.querySelectorAll('details')) fold.open = true")
    browser.script("document.querySelector('#tick-1').click()")
    browser.script(axe)
    found = browser.driver.execute_async_script(
        "const done = arguments[0]; axe.run(document, {resultTypes: ['violations'], runOnly: ['wcag2a', 'wcag2aa',"
        " 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}).then(result => done(result.violations.map(one =>"
        " [one.id, one.nodes.length, one.nodes[0].html, one.nodes[0].failureSummary])), error => done(String(error)))"
    )
    assert found == []


def test_nothing_scrolls_sideways_on_a_narrow_phone(browser: Browser, sheet: Path) -> None:
    browser.open(sheet, width=360, height=740)
    assert browser.script("return document.documentElement.scrollWidth") == 360
    browser.script(HAND)
    browser.script("for (const fold of document.querySelectorAll('details')) fold.open = true")
    assert browser.script("return document.documentElement.scrollWidth") == 360
    wide = browser.script(
        "return [...document.querySelectorAll('main *')].filter(one => one.checkVisibility() &&"
        " !one.closest('.sr, .rows') && one.getBoundingClientRect().right > 360.5)"
        ".map(one => one.outerHTML.slice(0, 80))"
    )
    assert wide == []


# --- paper -------------------------------------------------------------------------------------------------------


def pages(browser: Browser, to: Path) -> list[str]:
    """The text of each printed page, blanks made one."""
    browser.printed(to)
    text = subprocess.run(["pdftotext", "-layout", str(to), "-"], check=True, capture_output=True, text=True).stdout
    return [" ".join(one.split()) for one in text.split("\f")[:-1]]


def test_no_action_is_cut_and_stage_headings_are_repeated(
    browser: Browser, sheet: Path, install: InstallGraph, tmp_path: Path
) -> None:
    browser.open(sheet)
    work(browser)
    printed = pages(browser, tmp_path / "hand.pdf")
    for part in stage_text.parts(install):
        for told in part.actions:
            foot = re.compile(rf"Action {re.escape(told.action.id)}(?=,|\s|$)")
            places = [number for number, text in enumerate(printed) if foot.search(text)]
            assert len(places) == 1, told.action.id
            text, head = printed[places[0]], f" {told.number} {told.action.title}"
            assert f"Stage {part.number} {part.title}" in text, told.action.id
            if head not in text:  # longer than a page: then it begins at the top of the one before
                assert printed[places[0] - 1].startswith(f"Stage {part.number} {part.title}{head}"), told.action.id
                continue
            if told.back:
                assert told.back.note.split()[0] in text.split(f" {told.number} {told.action.title}")[1]
    assert "Note: key is in the safe" in " ".join(printed)


def test_the_printed_record_has_what_was_done_and_lines_to_sign(browser: Browser, sheet: Path, tmp_path: Path) -> None:
    browser.open(sheet)
    work(browser)
    browser.script("document.querySelector('[value=script]').click()")
    printed = pages(browser, tmp_path / "script.pdf")
    assert len(printed) < 20
    record = printed[-1]
    for words in ("Record of the work", "2 of 8", "0 of 4, by script", "Date", "Carried out by", "Signature"):
        assert words in record, words
    size = subprocess.run(["pdfinfo", str(tmp_path / "script.pdf")], check=True, capture_output=True, text=True).stdout
    assert "A4" in size
