"""The locale step: language, further locales, console keymap and font.

Enters: `[locale]`. Leaves: actions that load the keymap on the live console first (passwords are typed there), then
write each family's own files and generate the locales.

    [locale]
    language = "de_DE.UTF-8"
    locales = ["en_GB.UTF-8"]
    keymap = "de-latin1-nodeadkeys"
    font = "Lat15-Terminus16"
    xkb_layout = "de"               # only for a keymap that is not known; the apt family keeps layouts, not keymaps
    xkb_variant = "nodeadkeys"
"""

from __future__ import annotations

from bedplate.functions import Folder
from bedplate.hookspecs import Step, hookimpl, later
from bedplate_steps.locale.emit import emit
from bedplate_steps.locale.family import ConsoleKeymap, LocaleFiles
from bedplate_steps.locale.model import Locale
from bedplate_steps.locale.validate import validate

__all__ = ["bedplate_contract", "bedplate_steps"]


bedplate_contract = 1


@hookimpl
def bedplate_steps() -> list[Step]:
    """The locale step."""
    return [
        Step(
            section="locale",
            title="Locale: language, further locales, console keymap and font",
            model=Locale,
            emit=emit,
            functions=Folder(__name__),
            changes=later("bedplate_steps.locale.changes:changes"),
            validate=validate,
            concerns=(ConsoleKeymap, LocaleFiles),
            draft=later("bedplate_steps.locale.draft:draft"),
            draft_rank=40,
            required=True,
        )
    ]
