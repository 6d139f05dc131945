"""The locale step: faults, each family's files, and its runtime verbs under three shells."""

from __future__ import annotations

import os
import subprocess
import tomllib
from pathlib import Path
from typing import Any, TypeVar

import pytest
from attrs import field, frozen

import bedplate_schema
from bedplate.actions import Action, InTarget, Outputs, Run, Stage, Where, WriteFile
from bedplate.facts import Family
from bedplate.faults import Fault, Place, dotted
from bedplate.reading.schema_errors import schema_faults
from bedplate.reading.structuring import structured
from bedplate.spec import Machine
from bedplate.survey import Survey
from bedplate.testing.function_runner import SHELLS
from bedplate.testing.function_runner import function_script as script
from bedplate.testing.function_runner import run_function as run
from bedplate_steps.locale import bedplate_steps
from bedplate_steps.locale.draft import draft
from bedplate_steps.locale.model import Locale
from family_records import record

T = TypeVar("T")
[STEP] = bedplate_steps()
GERMAN = 'language = "de_DE.UTF-8"\n'


@frozen(kw_only=True)
class Around:
    """A context with one package family."""

    machine: Machine = field(factory=lambda: Machine(name="kelp-02"))
    survey: Survey | None = None
    family: str = "apt"

    def has(self, kind: type[object]) -> bool:
        return kind is Family

    def of_family(self, kind: type[T]) -> T:
        return record(self.family, kind)

    def fact(self, kind: type[T]) -> T:
        family = Family(
            name=self.family,
            architecture="amd64",
            rebuild_initramfs=(),
            packages={"locales": ("locales",), "keymap": ("kbd",)},
        )
        assert isinstance(family, kind)
        return family


def section(text: str) -> Locale:
    data: dict[str, Any] = tomllib.loads(text)
    if schema_faults(bedplate_schema.load("locale"), data, lambda path, key=False: Place(file="spec")):
        raise ValueError("refused by the schema")
    return structured(data, Locale)


def faults(text: str, family: str = "apt") -> list[Fault]:
    assert STEP.validate is not None
    return list(STEP.validate(section(text), Around(family=family)))


def actions(text: str, family: str = "apt") -> dict[str, Action]:
    assert [fault for fault in faults(text, family) if not fault.warning] == []
    return {action.id: action for action in STEP.emit(section(text), Around(family=family))}


def files(action: Action) -> dict[str, object]:
    return {
        operation.path.path: operation.content[0]
        for operation in action.operations
        if isinstance(operation, WriteFile) and isinstance(operation.path, InTarget)
    }


# --- schema and faults -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "",
        'language = "de_DE.UTF-8\\nLC_ALL=C"',
        'language = "$(id)"',
        GERMAN + 'keymap = "../us"',
        GERMAN + 'keymap = "-d"',
        GERMAN + 'font = "a;b"',
        GERMAN + 'xkb_variant = "nodeadkeys"',
        GERMAN + "xkb_layout = 'de\"'",
        GERMAN + 'lang = "x"',
    ],
)
def test_the_schema_refuses(text: str) -> None:
    with pytest.raises(ValueError, match="refused"):
        section(text)


@pytest.mark.parametrize(("name", "near"), [("de_DE.utf8", "de_DE.UTF-8"), ("de_DE.UTF8", "de_DE.UTF-8"), ("xx", None)])
def test_an_unknown_locale_is_a_fault_with_the_nearest(name: str, near: str | None) -> None:
    [fault] = faults(f'language = "{name}"')
    assert (dotted(fault.path), fault.code, fault.nearest) == ("language", "unknown-locale", near)
    [fault] = faults(f'{GERMAN}locales = ["en_GB.UTF-8", "{name}"]')
    assert dotted(fault.path) == "locales[1]"


def test_a_locale_in_an_old_character_set_is_a_warning() -> None:
    [fault] = faults('language = "de_DE"')
    assert (fault.code, fault.warning, fault.nearest) == ("locale-not-utf8", True, "de_DE.UTF-8")
    assert faults('language = "sr_RS@latin"') == []


@pytest.mark.parametrize(("family", "warning"), [("apt", False), ("pacman", True), ("dnf", True)])
def test_a_keymap_without_layout_stops_only_where_layouts_are_kept(family: str, warning: bool) -> None:
    [fault] = faults(GERMAN + 'keymap = "de-latin"', family)
    assert (fault.code, fault.warning, fault.nearest) == ("unknown-keymap", warning, "de-latin1")
    assert faults(GERMAN + 'keymap = "colemak"\nxkb_layout = "us"\nxkb_variant = "colemak"', family) == []


def test_a_layouts_name_leads_to_its_keymap() -> None:
    """The table of systemd, kbd-model-map: the layout gb is the console keymap uk."""
    [fault] = faults(GERMAN + 'keymap = "gb"')
    assert (fault.code, fault.nearest) == ("unknown-keymap", "uk")


# --- actions -----------------------------------------------------------------------------------------------------


def test_the_live_keymap_comes_first() -> None:
    first, *_ = actions(GERMAN).values()
    assert (first.stage, first.gives, first.transient) == (Stage.LIVE, ("keymap:live",), True)


@pytest.mark.parametrize("family", ["apt", "pacman"])
def test_locales_are_listed_and_made(family: str) -> None:
    """locale.gen(5): a locale and its character set on each line."""
    made = actions(GERMAN + 'locales = ["sr_RS@latin", "C.UTF-8", "de_DE.UTF-8"]', family)["locale.locales"]
    assert files(made) == {"/etc/locale.gen": "de_DE.UTF-8 UTF-8\nsr_RS@latin UTF-8\n"}
    assert made.operations[-1] == Run(argv=("locale-gen",), where=Where.TARGET)
    tests = [proof.test for proof in made.proofs if isinstance(proof.test, Outputs)]
    assert [test.text for test in tests] == ["de_DE.utf8", "sr_RS@latin", "C.utf8"]
    assert all(test.argv == ("locale", "-a") and test.where is Where.TARGET for test in tests)


def test_dnf_has_language_packs() -> None:
    """glibc-langpack packages, one a language: from memory."""
    made = actions(GERMAN + 'locales = ["de_AT.UTF-8", "pt_BR.UTF-8", "C.UTF-8"]', "dnf")["locale.locales"]
    packs = [need for need in made.needs if "langpack" in need]
    assert packs == ["package:glibc-langpack-de", "package:glibc-langpack-pt"]
    assert made.operations == ()


def test_the_language_stands_where_each_family_reads_it() -> None:
    """locale.conf(5); /etc/default/locale: Debian Reference, 8.1."""
    both = {"/etc/locale.conf": "LANG=de_DE.UTF-8\n", "/etc/default/locale": "LANG=de_DE.UTF-8\n"}
    assert files(actions(GERMAN)["locale.language"]) == both
    assert list(files(actions(GERMAN, "dnf")["locale.language"])) == ["/etc/locale.conf"]


def test_the_keymap_stands_where_each_family_reads_it() -> None:
    """vconsole.conf(5); keyboard(5)."""
    text = GERMAN + 'keymap = "de-latin1-nodeadkeys"\nfont = "Lat15-Terminus16"'
    assert files(actions(text, "pacman")["locale.keymap"]) == {
        "/etc/vconsole.conf": "KEYMAP=de-latin1-nodeadkeys\nFONT=Lat15-Terminus16\n"
    }
    found = files(actions(text)["locale.keymap"])
    assert found["/etc/default/keyboard"] == (
        'XKBMODEL="pc105"\nXKBLAYOUT="de"\nXKBVARIANT="nodeadkeys"\n'
        'XKBOPTIONS="terminate:ctrl_alt_bksp"\nBACKSPACE="guess"\n'
    )
    assert 'FONT="Lat15-Terminus16.psf.gz"\n' in str(found["/etc/default/console-setup"])
    assert list(files(actions(GERMAN)["locale.keymap"])) == ["/etc/default/keyboard"]


def test_the_keymap_is_there_before_the_initramfs() -> None:
    assert "keymap:target" in actions(GERMAN)["locale.keymap"].gives


@pytest.mark.parametrize("family", ["apt", "pacman", "dnf"])
def test_what_changes_has_proofs_and_a_way_back(family: str) -> None:
    for action in actions(GERMAN, family).values():
        assert action.proofs, action.id
        assert action.way_back.note


def test_the_draft_passes_its_own_check() -> None:
    assert faults(draft(Survey()).removeprefix("[locale]\n")) == []


# --- verbs -------------------------------------------------------------------------------------------------------

shells = pytest.mark.parametrize("shell", SHELLS, ids=lambda shell: shell[0])


@pytest.fixture
def place(tmp_path: Path) -> Path:
    for name in ("target", "work", "bin"):
        (tmp_path / name).mkdir()
    return tmp_path


def tools(place: Path, **bodies: str) -> dict[str, str]:
    """An environment in which the medium's tools do what `bodies` say."""
    for name, body in bodies.items():
        (place / "bin" / name).write_text(f"#!/bin/sh\n{body}\n")
        (place / "bin" / name).chmod(0o755)
    return {**os.environ, "PATH": f"{place}/bin:{os.environ['PATH']}"}


WORDS = ("de-latin1", "pc105", "de", "")


@shells
def test_a_known_keymap_is_loaded_by_name(place: Path, shell: tuple[str, ...]) -> None:
    env = tools(place, readlink="echo /dev/tty1", loadkeys=f'echo "$1" >{place}/loaded')
    done = run("locale/live-keymap", *WORDS, target="", work=place / "work", shell=shell, env=env)
    assert (done.returncode, done.stderr) == (0, "")
    assert (place / "loaded").read_text() == "de-latin1\n"
    after = run("locale/live-keymap-is", "de-latin1", target="", work=place / "work", shell=shell)
    assert (after.returncode, after.stdout) == (0, "de-latin1: loaded\n")
    assert run("locale/live-keymap-is", "us", target="", work=place / "work", shell=shell).returncode == 1


@shells
def test_a_keymap_the_medium_lacks_is_made_from_the_layout(place: Path, shell: tuple[str, ...]) -> None:
    loadkeys = f'[ "$1" != de-latin1 ] && cat "$1" >{place}/loaded'
    env = tools(place, readlink="echo /dev/tty1", loadkeys=loadkeys, ckbcomp='echo "made $*."')
    done = run("locale/live-keymap", *WORDS, target="", work=place / "work", shell=shell, env=env)
    assert done.returncode == 0, done.stderr
    assert (place / "loaded").read_text() == "made -model pc105 -layout de -variant .\n"


@shells
def test_a_keymap_nobody_can_load_is_an_error(place: Path, shell: tuple[str, ...]) -> None:
    env = tools(place, readlink="echo /dev/tty1", loadkeys="exit 1", ckbcomp="exit 1")
    assert run("locale/live-keymap", *WORDS, target="", work=place / "work", shell=shell, env=env).returncode == 1
    assert run("locale/live-keymap-is", "de-latin1", target="", work=place / "work", shell=shell).returncode == 1


@shells
def test_on_a_serial_line_nothing_is_claimed(place: Path, shell: tuple[str, ...]) -> None:
    env = tools(place, readlink="echo /dev/ttyS0", loadkeys="exit 0")
    done = run("locale/live-keymap", *WORDS, target="", work=place / "work", shell=shell, env=env)
    assert done.returncode == 0
    assert "no console" in done.stdout
    after = run("locale/live-keymap-is", "de-latin1", target="", work=place / "work", shell=shell)
    assert after.stdout == "de-latin1: not a console\n"


@shells
def test_the_mediums_keymaps_are_looked_through(place: Path, shell: tuple[str, ...]) -> None:
    """Package console-data brings /usr/share/keymaps."""
    assert Path("/usr/share/keymaps").is_dir()
    env = tools(place, readlink="echo /dev/tty1", ckbcomp="exit 1")
    known = run("locale/keymap-is-known", *WORDS, target="", work=place / "work", shell=shell, env=env)
    assert known.returncode == 0
    wrong = run(
        "locale/keymap-is-known", "no-such", "pc105", "zz", "", target="", work=place / "work", shell=shell, env=env
    )
    assert wrong.returncode == 1
    assert "no-such" in wrong.stderr


@shells
def test_a_medium_without_keymaps_is_told_before_it_is_needed(place: Path, shell: tuple[str, ...]) -> None:
    """On a console only: a serial line (console(4), ttyS(4)) brings a keymap of its own, and nothing stops there."""
    for tty in ("tty1", "ttyS0", "pts/0", "pipe:[7]"):
        status, words = (1, "no console keymaps at all") if tty == "tty1" else (0, "a keymap of its own")
        env = tools(place, readlink=f"echo /dev/{tty}", loadkeys="exit 1")
        text = script("locale/keymap-is-known", WORDS, "", place / "work")
        for folder in ("/usr/share/keymaps", "/usr/share/kbd/keymaps", "/usr/lib/kbd/keymaps", "/lib/kbd/keymaps"):
            text = text.replace(f" {folder}", f" {place}/no/such{folder}")
        text = text.replace("ckbcomp", "no-ckbcomp-here")
        ran = subprocess.run([*shell, "-c", text], capture_output=True, text=True, env=env, check=False)
        assert ran.returncode == status and words in ran.stdout + ran.stderr, tty


@shells
def test_a_stale_console_cache_is_found(place: Path, shell: tuple[str, ...]) -> None:
    target = place / "target"
    for name in ("etc/default", "etc/console-setup"):
        (target / name).mkdir(parents=True)
    keyboard, cached = target / "etc/default/keyboard", target / "etc/console-setup/cached_UTF-8_del.kmap.gz"
    keyboard.write_text("x")
    assert run("base/console-is-cached", target=target, work=place / "work", shell=shell).returncode == 1
    cached.write_bytes(b"x")
    os.utime(keyboard, (1000, 1000))
    assert run("base/console-is-cached", target=target, work=place / "work", shell=shell).returncode == 0
    os.utime(cached, (500, 500))
    assert run("base/console-is-cached", target=target, work=place / "work", shell=shell).returncode == 1
