"""Locale and keymap names against the C library's list SUPPORTED, locale(1) and systemd's table kbd-model-map."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from bedplate_steps.locale.keymaps import keyboards
from bedplate_steps.locale.locale_names import charsets, listed

SUPPORTED = dict(line.split() for line in Path("/usr/share/i18n/SUPPORTED").read_text().splitlines() if line.strip())
KEYMAPS = [
    line.split()
    for line in Path("/usr/share/systemd/kbd-model-map").read_text().splitlines()
    if line.strip() and not line.startswith("#")
]


def test_the_list_was_read() -> None:
    assert len(SUPPORTED) >= 490


def test_every_name_and_character_set_is_in_supported() -> None:
    """Later lists grow; what the C library 2.36 had is a part of them."""
    assert {name: charset for name, charset in charsets().items() if SUPPORTED.get(name) != charset} == {}


def test_nothing_of_supported_is_missing() -> None:
    missing = set(SUPPORTED) - set(charsets())
    version = subprocess.run(["ldd", "--version"], capture_output=True, text=True, check=True).stdout.split()
    assert not missing or "2.36" not in " ".join(version[:5]), missing


def test_utf8_cannot_be_told_from_the_name() -> None:
    assert (charsets()["sr_RS"], charsets()["ca_ES@valencia"], charsets()["de_DE"]) == ("UTF-8", "UTF-8", "ISO-8859-1")


@pytest.mark.parametrize(
    ("name", "charset"), [("de_DE.UTF-8", "UTF-8"), ("ca_ES@valencia", "UTF-8"), ("en_US.ISO-8859-15", "ISO-8859-15")]
)
def test_names_are_listed_as_locale_lists_them(tmp_path: Path, name: str, charset: str) -> None:
    """localedef makes the locale, locale -a names it: the two programs our proof relies on."""
    if SUPPORTED.get(name) != charset:
        pytest.fail(f"{name} {charset} is not a line of SUPPORTED")
    assert SUPPORTED[name] == charset
    source = name.partition(".")[0]
    (tmp_path / "usr/lib/locale").mkdir(parents=True)
    prefix = ["localedef", "--prefix", str(tmp_path)]
    subprocess.run([*prefix, "-c", "-i", source, "-f", charset, name], capture_output=True, check=False)
    found = subprocess.run([*prefix, "--list-archive"], capture_output=True, text=True, check=True).stdout.split()
    assert listed(name) in found


def test_every_keymap_has_the_layout_of_the_table() -> None:
    """systemd, kbd-model-map: console layout, X layout, model, variant, options; the first row of a keymap counts."""
    assert len(KEYMAPS) > 60
    seen: set[str] = set()
    for name, *words in KEYMAPS:
        if name in seen:
            continue
        seen.add(name)
        board = keyboards().get(name)
        assert board is not None, name
        table = ["" if word == "-" else word for word in words]
        assert [board.layout, board.model, board.variant, board.options] == table


def test_no_keymap_comes_from_elsewhere() -> None:
    assert set(keyboards()) <= {row[0] for row in KEYMAPS}


def test_layouts_are_known_to_the_x_keyboard_rules() -> None:
    """xkeyboard-config, rules/base.lst: the layouts a keyboard file may name."""
    text = Path("/usr/share/X11/xkb/rules/base.lst").read_text()
    layouts = {line.split()[0] for line in text.partition("! layout")[2].partition("!")[0].splitlines() if line.strip()}
    used = {layout for board in keyboards().values() for layout in board.layout.split(",")}
    assert used - layouts == set()
