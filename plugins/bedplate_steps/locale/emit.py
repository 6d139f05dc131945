"""The actions of the locale step. Enters: section and context. Leaves: actions in the order a person would do them.

Where the family's packages do not bring locales ready-made, they are made by locale.gen(5). Which files say the
language and hold the keymap, the family tells.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterable

from bedplate import build, conditions
from bedplate.actions import Action, Call, Check, InTarget, Milestone, Operation, Run, Stage, WayBack, Where, WriteFile
from bedplate.facts import Family
from bedplate.hookspecs import Context
from bedplate_steps.locale.family import ConsoleKeymap, LocaleFiles
from bedplate_steps.locale.keymaps import Keyboard, keyboard
from bedplate_steps.locale.locale_names import charsets, listed
from bedplate_steps.locale.model import Locale

_BUILT_IN = {"C.UTF-8"}
"""Locales that come with the C library of every family and are never generated."""


def emit(locale: Locale, context: Context) -> Iterable[Action]:
    """All actions of the section."""
    family, files = context.fact(Family), context.of_family(LocaleFiles)
    yield _live_keymap(locale)
    yield _locales(locale, family, files)
    yield _language(locale, files)
    yield _keymap(locale, family, context.of_family(ConsoleKeymap))


def _live_keymap(locale: Locale) -> Action:
    board = keyboard(locale)
    words = (locale.keymap, board.model, board.layout, board.variant)
    return Action(
        id="locale.live-keymap",
        title=f"Load the keymap {locale.keymap} on the live console",
        reason="A password typed with one keymap cannot be typed with another.",
        stage=Stage.LIVE,
        operations=(Call(verb="locale/live-keymap", args=words, by_hand=_load(locale.keymap, board)),),
        gives=(Milestone.KEYMAP_LOADED,),
        guards=(
            conditions.holds(
                f"The medium knows the keymap {locale.keymap}",
                "locale/keymap-is-known",
                *words,
                by_hand=(
                    f"find /usr/share/keymaps /usr/share/kbd/keymaps /usr/lib/kbd/keymaps -name "
                    f"{shlex.quote(locale.keymap + '.*map*')} 2> /dev/null | grep . || command -v ckbcomp",
                ),
                otherwise="Name a keymap the medium has, or use a medium that has this one.",
            ),
        ),
        proofs=(
            conditions.holds(
                "The keymap was set, or this is no console", "locale/live-keymap-is", locale.keymap, early=False
            ),
        ),
        transient=True,
        trouble="On a serial line or in a graphical terminal the keymap is not ours to set: type a test text first.",
    )


def _load(keymap: str, board: Keyboard) -> tuple[str, ...]:
    option = f" -variant {shlex.quote(board.variant)}" if board.variant else ""
    return (
        f"loadkeys {shlex.quote(keymap)}",
        "# Only where it finds no such keymap, and the medium has `ckbcomp`:",
        f"ckbcomp -model {shlex.quote(board.model)} -layout {shlex.quote(board.layout)}{option} | loadkeys",
    )


# --- locales -----------------------------------------------------------------------------------------------------


def _locales(locale: Locale, family: Family, files: LocaleFiles) -> Action:
    built = tuple(name for name in locale.wanted if name not in _BUILT_IN)
    operations, proofs = _generate(built) if not files.pack else ((), ())  # packs bring them made
    languages = dict.fromkeys(name.partition("_")[0] for name in built) if files.pack else ()
    packs = (f"package:{files.pack.format(language=one)}" for one in languages)
    return Action(
        id="locale.locales",
        title="Make the locales: " + ", ".join(locale.wanted),
        reason="A language whose locale was never made floods the screen with warnings and breaks programs.",
        stage=Stage.TARGET,
        operations=operations,
        needs=("base", Milestone.API_MOUNTED, *family.tokens("locales"), *packs),
        gives=("locale:made",),
        proofs=(*proofs, *(_made(name) for name in locale.wanted)),
        # The name stands in the archive before all of its content is on the disk.
        stamped=bool(built),
        way_back=build.goes_with_root("Unused locales do no harm; they go with the new root file system."),
        trouble="A locale that is missing is named by the proof; the list of all is printed by locale -a.",
    )


def _made(name: str) -> Check:
    return conditions.outputs(
        f"The locale {name} is on the machine",
        listed(name),
        "locale",
        "-a",
        exactly=False,
        where=Where.TARGET,
        early=False,
    )


def _generate(built: tuple[str, ...]) -> tuple[tuple[Operation, ...], tuple[Check, ...]]:
    content = ("".join(f"{name} {charsets()[name]}\n" for name in built),)
    operations = (
        WriteFile(path=InTarget("/etc/locale.gen"), content=content),
        Run(argv=("locale-gen",), where=Where.TARGET),
    )
    return operations, (conditions.file_is("/etc/locale.gen", content),)


def _language(locale: Locale, files: LocaleFiles) -> Action:
    content, paths = (f"LANG={locale.language}\n",), files.language
    return Action(
        id="locale.language",
        title=f"Set the language to {locale.language}",
        reason="Programs that start with the system and people who log in read it from here.",
        stage=Stage.TARGET,
        operations=tuple(WriteFile(path=InTarget(path), content=content) for path in paths),
        needs=("base", "locale:made"),
        gives=tuple(f"file:{path}" for path in paths),
        proofs=tuple(conditions.file_is(path, content) for path in paths),
        audits=(
            # systemd.environment-generator(7): what the manager hands to every service it starts
            conditions.outputs(
                f"Services start with {content[0].strip()}",
                content[0],
                "systemctl",
                "show-environment",
                exactly=False,
                early=False,
            ),
        ),
        way_back=_removed(*paths),
    )


def _removed(*paths: str) -> WayBack:
    return build.goes_with_root(
        "The files are removed; the system then uses its built-in default.",
        Run(argv=("rm", "-f", "--", *(InTarget(path) for path in paths))),
    )


# --- keymap and font ---------------------------------------------------------------------------------------------


def _keymap(locale: Locale, family: Family, console: ConsoleKeymap) -> Action:
    files = console.files(locale)
    prepare = (Run(argv=console.prepare, where=Where.TARGET),) if console.prepare else ()
    return Action(
        id="locale.keymap",
        title=f"Set the console keymap to {locale.keymap}",
        reason="It also holds where a passphrase is typed at the start, so it comes before the initramfs.",
        stage=Stage.TARGET,
        operations=(*(WriteFile(path=InTarget(path), content=(text,)) for path, text in files.items()), *prepare),
        needs=("base", Milestone.API_MOUNTED, *family.tokens("keymap")),
        gives=("keymap:target", *(f"file:{path}" for path in files)),
        proofs=(*(conditions.file_is(path, (text,)) for path, text in files.items()), *console.prepared),
        # What was cut short is as new as a whole one (seen on the bench).
        stamped=bool(prepare),
        audits=tuple(
            conditions.succeeds(
                f"{unit} has loaded it at this start", "systemctl", "is-active", "--quiet", unit, early=False
            )
            for unit in console.units
        ),
        way_back=_removed(*files),
    )
