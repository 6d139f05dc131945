"""What differs between two `[locale]` sections. Enters: both sides. Leaves: changes with the work each takes."""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.actions import Action, Run, Where
from bedplate.changes import Change, Cost, Extra, amend
from bedplate.facts import Family, Layout
from bedplate.hookspecs import Side
from bedplate_steps.locale.model import Locale

_XKB = {
    "xkb_layout": "keyboard layout",
    "xkb_model": "keyboard model",
    "xkb_variant": "keyboard variant",
    "xkb_options": "keyboard options",
}


def changes(old: Side, new: Side) -> Iterator[Change]:
    """Language, further locales, keymap, font, layout."""
    before, after = old.section, new.section
    assert isinstance(before, Locale) and isinstance(after, Locale)
    yield from _locales(before, after, old, new)
    keyboard = _keyboard(old, new)
    if before.keymap != after.keymap:
        yield Change(
            says=f"console keymap {after.keymap} replaces {before.keymap}",
            cost=Cost.NEXT_BOOT,
            old=("keymap",),
            new=("keymap",),
            why="The console loads it at the start; until then, loadkeys sets it by hand.",
            actions=keyboard,
            covers=("locale.live-keymap",),
        )
    if before.font != after.font:
        yield _keyboard_change(
            "console font", before.font or "the usual one", after.font or "the usual one", "font", keyboard
        )
    for key, words in _XKB.items():
        one, other = getattr(before, key), getattr(after, key)
        if one != other:
            usual = "the keymap's own"
            yield _keyboard_change(words, one or usual, other or usual, key, keyboard)


def _keyboard_change(words: str, one: str, other: str, key: str, actions: tuple[Action, ...]) -> Change:
    return Change(
        says=f"{words} {other} replaces {one}",
        cost=Cost.NEXT_BOOT,
        old=(key,),
        new=(key,),
        actions=actions,
        covers=("locale.live-keymap",),
    )


def _locales(before: Locale, after: Locale, old: Side, new: Side) -> Iterator[Change]:
    made = amend(old.actions, new.actions, "locale.locales")
    if before.language != after.language:
        yield Change(
            says=f"language {after.language} replaces {before.language}",
            cost=Cost.NEXT_BOOT,
            old=("language",),
            new=("language",),
            why="People see it at their next login, services after the next start.",
            actions=(*made, *amend(old.actions, new.actions, "locale.language")),
        )
    for word, one, other, path in (("is added", after, before, "new"), ("is dropped", before, after, "old")):
        for name in one.locales:
            if name not in other.wanted:
                index = one.locales.index(name)
                yield Change(
                    says=f"locale {name} {word}",
                    cost=Cost.IN_PLACE,
                    old=("locales", index) if path == "old" else ("locales",),
                    new=("locales", index) if path == "new" else ("locales",),
                    actions=made,
                )


def _keyboard(old: Side, new: Side) -> tuple[Action, ...]:
    """Where a passphrase is typed at the start, the keymap stands in the initramfs as well."""
    layout, family = new.context.fact(Layout), new.context.fact(Family)
    sealed = any(part.mapper for part in layout.partitions)
    again = (Run(argv=family.rebuild_initramfs, where=Where.TARGET),) if sealed else ()
    extra = Extra(after=again, back=again)
    return amend(old.actions, new.actions, "locale.keymap", extra={"locale.keymap": extra})
