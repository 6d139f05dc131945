"""The actions of the locale step. Enters: section and context. Leaves: actions in the order a person would do them.

Files per family: locale.gen(5) and locale.conf(5) for pacman; the same and /etc/default/locale, which PAM reads, for
apt; language packs and locale.conf for dnf. The keymap stands in vconsole.conf(5), for apt in keyboard(5).
"""

from __future__ import annotations

import shlex
from collections.abc import Iterable

from bedplate import conditions
from bedplate.actions import Action, Call, Check, InTarget, Operation, Run, Stage, WayBack, Where, WriteFile
from bedplate.facts import Family
from bedplate.hookspecs import Context
from bedplate_steps.locale.keymaps import Keyboard, keyboards
from bedplate_steps.locale.locale_names import charsets, listed
from bedplate_steps.locale.model import Locale

VCONSOLE = "/etc/vconsole.conf"
KEYBOARD = "/etc/default/keyboard"
CONSOLE_SETUP = "/etc/default/console-setup"

_LOADERS = {"apt": ("keyboard-setup.service", "console-setup.service")}
"""Units that load keymap and font at the start, where they are not systemd's own (console-setup of Debian 12)."""

_BUILT_IN = {"C.UTF-8"}
"""Locales that come with the C library of every family and are never generated."""


def emit(locale: Locale, context: Context) -> Iterable[Action]:
    """All actions of the section."""
    family = context.fact(Family)
    yield _live_keymap(locale)
    yield _locales(locale, family)
    yield _language(locale, family)
    yield _keymap(locale, family)


def keyboard(locale: Locale) -> Keyboard:
    """The layout: what the section says itself, else what belongs to the keymap."""
    if locale.xkb_layout:
        return Keyboard(
            layout=locale.xkb_layout,
            model=locale.xkb_model or "pc105",
            variant=locale.xkb_variant,
            options=locale.xkb_options,
        )
    return keyboards().get(locale.keymap, Keyboard(layout="us"))


def _live_keymap(locale: Locale) -> Action:
    board = keyboard(locale)
    words = (locale.keymap, board.model, board.layout, board.variant)
    return Action(
        id="locale.live-keymap",
        title=f"Load the keymap {locale.keymap} on the live console",
        reason="A password typed with one keymap cannot be typed with another.",
        stage=Stage.LIVE,
        operations=(Call(verb="live-keymap", args=words, by_hand=_load(locale.keymap, board)),),
        gives=("keymap:live",),
        guards=(
            conditions.holds(
                f"The medium knows the keymap {locale.keymap}",
                "keymap-is-known",
                *words,
                by_hand=(
                    f"find /usr/share/keymaps /usr/share/kbd/keymaps /usr/lib/kbd/keymaps -name "
                    f"{shlex.quote(locale.keymap + '.*map*')} 2> /dev/null | grep . || command -v ckbcomp",
                ),
                otherwise="Name a keymap the medium has, or use a medium that has this one.",
            ),
        ),
        proofs=(
            conditions.holds("The keymap was set, or this is no console", "live-keymap-is", locale.keymap, early=False),
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


def _locales(locale: Locale, family: Family) -> Action:
    built = tuple(name for name in locale.wanted if name not in _BUILT_IN)
    operations, proofs = _generate(built, family)
    return Action(
        id="locale.locales",
        title="Make the locales: " + ", ".join(locale.wanted),
        reason="A language whose locale was never made floods the screen with warnings and breaks programs.",
        stage=Stage.TARGET,
        operations=operations,
        needs=("base", "target:api", *_packages(built, family)),
        gives=("locale:made",),
        proofs=(*proofs, *(_made(name) for name in locale.wanted)),
        # The name stands in the archive before all of its content is on the disk.
        stamped=bool(built),
        way_back=WayBack(
            note="Unused locales do no harm; they go with the new root file system.", goes_with="filesystem:/"
        ),
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


def _packages(built: tuple[str, ...], family: Family) -> tuple[str, ...]:
    if family.name != "dnf":
        return family.tokens("locales")
    packs = dict.fromkeys(f"package:glibc-langpack-{name.partition('_')[0]}" for name in built)
    return (*family.tokens("locales"), *packs)


def _generate(built: tuple[str, ...], family: Family) -> tuple[tuple[Operation, ...], tuple[Check, ...]]:
    if family.name == "dnf":
        return (), ()  # the language packs bring them made
    content = ("".join(f"{name} {charsets()[name]}\n" for name in built),)
    operations = (
        WriteFile(path=InTarget("/etc/locale.gen"), content=content),
        Run(argv=("locale-gen",), where=Where.TARGET),
    )
    return operations, (conditions.file_is("/etc/locale.gen", content),)


def _language(locale: Locale, family: Family) -> Action:
    content = (f"LANG={locale.language}\n",)
    paths = ("/etc/locale.conf", "/etc/default/locale") if family.name == "apt" else ("/etc/locale.conf",)
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
    return WayBack(
        note="The files are removed; the system then uses its built-in default.",
        operations=(Run(argv=("rm", "-f", "--", *(InTarget(path) for path in paths))),),
        goes_with="filesystem:/",
    )


# --- keymap and font ---------------------------------------------------------------------------------------------


def _keymap(locale: Locale, family: Family) -> Action:
    files = _console_setup(locale) if family.name == "apt" else _vconsole(locale)
    # The cached files are what the console and the initramfs of that family load at boot (setupcon(1)).
    cache = (Run(argv=("setupcon", "--save-only"), where=Where.TARGET),) if family.name == "apt" else ()
    paths = tuple(file.path.path for file in files if isinstance(file.path, InTarget))
    return Action(
        id="locale.keymap",
        title=f"Set the console keymap to {locale.keymap}",
        reason="It also holds where a passphrase is typed at the start, so it comes before the initramfs.",
        stage=Stage.TARGET,
        operations=(*files, *cache),
        needs=("base", "target:api", *family.tokens("keymap")),
        gives=("keymap:target", *(f"file:{path}" for path in paths)),
        proofs=(
            *(conditions.file_is(path, file.content) for path, file in zip(paths, files, strict=True)),
            *_cached(family),
        ),
        # A cache that was cut short is as new as a whole one (seen on the bench).
        stamped=bool(cache),
        audits=tuple(
            conditions.succeeds(
                f"{unit} has loaded it at this start", "systemctl", "is-active", "--quiet", unit, early=False
            )
            for unit in _LOADERS.get(family.name, ("systemd-vconsole-setup.service",))
        ),
        way_back=_removed(*paths),
    )


def _cached(family: Family) -> tuple[Check, ...]:
    if family.name != "apt":
        return ()
    return (conditions.holds("The console's keymap is ready for the start", "console-is-cached", early=False),)


def _vconsole(locale: Locale) -> tuple[WriteFile, ...]:
    text = f"KEYMAP={locale.keymap}\n" + (f"FONT={locale.font}\n" if locale.font else "")
    return (WriteFile(path=InTarget(VCONSOLE), content=(text,)),)


def _console_setup(locale: Locale) -> tuple[WriteFile, ...]:
    board = keyboard(locale)
    rows = {
        "XKBMODEL": board.model,
        "XKBLAYOUT": board.layout,
        "XKBVARIANT": board.variant,
        "XKBOPTIONS": board.options,
        "BACKSPACE": "guess",
    }
    text = "".join(f'{key}="{value}"\n' for key, value in rows.items())
    files = (WriteFile(path=InTarget(KEYBOARD), content=(text,)),)
    if not locale.font:
        return files
    font = 'ACTIVE_CONSOLES="/dev/tty[1-6]"\nCHARMAP="UTF-8"\nCODESET="guess"\n' + f'FONT="{locale.font}.psf.gz"\n'
    return (*files, WriteFile(path=InTarget(CONSOLE_SETUP), content=(font,)))
