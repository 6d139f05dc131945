"""Faults of the `[locale]` section that no schema can say. Enters: section and context. Leaves: faults."""

from __future__ import annotations

from collections.abc import Iterable

from bedplate.facts import Family
from bedplate.faults import Fault, Path, nearest, shown
from bedplate.hookspecs import Context
from bedplate_steps.locale.family import ConsoleKeymap
from bedplate_steps.locale.keymaps import keyboards
from bedplate_steps.locale.locale_names import charsets
from bedplate_steps.locale.model import Locale


def validate(locale: Locale, context: Context) -> Iterable[Fault]:
    """All faults and warnings of the section."""
    yield from _locale(locale.language, ("language",))
    for index, name in enumerate(locale.locales):
        yield from _locale(name, ("locales", index))
    yield from _keymap(locale, context)


def _locale(name: str, path: Path) -> Iterable[Fault]:
    charset = charsets().get(name)
    if charset is None:
        yield Fault(
            code="unknown-locale",
            message="the GNU C library has no locale of this name",
            path=path,
            found=shown(name),
            allowed='a name from its list SUPPORTED, such as "de_DE.UTF-8"',
            nearest=nearest(name, charsets()),
        )
    elif charset != "UTF-8":
        unicode = name.partition("@")[0].partition(".")[0] + ".UTF-8"
        yield Fault(
            code="locale-not-utf8",
            message=f"this locale uses the character set {charset}: texts and file names of others will look wrong",
            path=path,
            found=shown(name),
            allowed="a UTF-8 locale",
            nearest=unicode if unicode in charsets() else None,
            warning=True,
        )


def _of_layout(word: str) -> str:
    """The console keymap of a layout of the graphical desktop, where the two have different names: uk for gb."""
    plain = (name for name, board in keyboards().items() if board.layout == word and not board.variant)
    return next(plain, "")


def _keymap(locale: Locale, context: Context) -> Iterable[Fault]:
    if locale.keymap in keyboards() or locale.xkb_layout:
        return
    layouts = context.of_family(ConsoleKeymap).by_layout
    message = (
        f"no keyboard layout is known for this keymap, and the {context.fact(Family).name} family keeps layouts"
        if layouts
        else "this keymap is not in our table; whether it exists is looked up on the live medium"
    )
    yield Fault(
        code="unknown-keymap",
        message=message,
        path=("keymap",),
        found=shown(locale.keymap),
        allowed='a console keymap such as "us" or "de-latin1"' + (", or xkb_layout as well" if layouts else ""),
        nearest=_of_layout(locale.keymap) or nearest(locale.keymap, keyboards()),
        warning=not layouts,
    )
