"""The `[locale]` section as a typed value. Enters: checked TOML. Leaves: a frozen `Locale`."""

from __future__ import annotations

from attrs import frozen


@frozen(kw_only=True)
class Locale:
    """Language, keymap and font."""

    language: str
    """The system's locale, as the GNU C library lists it."""
    locales: tuple[str, ...] = ()
    """Further locales to have on the machine."""
    keymap: str = "us"
    """Name of the console keymap."""
    font: str = ""
    """Console font, without suffix; empty: the family's usual one."""
    xkb_layout: str = ""
    """Keyboard layout in the words of xkeyboard-config(7); empty: the one that belongs to the keymap."""
    xkb_model: str = ""
    xkb_variant: str = ""
    xkb_options: str = ""

    @property
    def wanted(self) -> tuple[str, ...]:
        """Language and further locales, each once."""
        return tuple(dict.fromkeys((self.language, *self.locales)))
