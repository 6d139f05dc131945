"""The `[locale]` section: language, keymap, font."""

from bedplate.schema import Keywords, key, table

LOCALE = Keywords(title="Locale", description="Name of a locale.", pattern="^[A-Za-z0-9._@-]+$", maxLength=64)
CONSOLE = Keywords(pattern="^[A-Za-z0-9][A-Za-z0-9._-]*$", maxLength=64)
XKB = Keywords(pattern="^[A-Za-z0-9_,:+-]+$", maxLength=128)


@table(dependentRequired={"xkb_model": ("xkb_layout",), "xkb_variant": ("xkb_layout",), "xkb_options": ("xkb_layout",)})
class Locale:
    """Language, further locales, console keymap and font."""

    language: str = key(
        "The system's locale as the GNU C library lists it, such as de_DE.UTF-8.", LOCALE, title="Language"
    )
    locales: tuple[str, ...] = key(
        "Locales to have on the machine beside the language.",
        title="Further locales",
        uniqueItems=True,
        items=LOCALE,
        default=(),
    )
    keymap: str = key(
        "Name of the keymap for the console, such as us or de-latin1.", CONSOLE, title="Console keymap", default="us"
    )
    font: str = key(
        "Name of the console font without suffix. Left out: the family's usual one.",
        CONSOLE,
        title="Console font",
        default="",
    )
    xkb_layout: str = key(
        "Layout in the words of xkeyboard-config. Left out: the one that belongs to the keymap.",
        XKB,
        title="Keyboard layout",
        default="",
    )
    xkb_model: str = key("Model that goes with the layout.", XKB, title="Keyboard model", default="")
    xkb_variant: str = key("Variant of the layout.", XKB, title="Layout variant", default="")
    xkb_options: str = key("Options, separated by commas.", XKB, title="Layout options", default="")

    @property
    def wanted(self) -> tuple[str, ...]:
        """Language and further locales, each once."""
        return tuple(dict.fromkeys((self.language, *self.locales)))
